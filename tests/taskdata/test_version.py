import pytest

from taskkit.taskdata.version import Version


def test_versions_are_ordered_by_number_and_not_by_text():
    assert sorted([Version.V4_3, Version.V3_0, Version.V4_0]) == [Version.V3_0, Version.V4_0, Version.V4_3]
    assert Version.V3_3 < Version.V4_0 <= Version.V4_0 < Version.V4_3


def test_a_version_is_read_from_the_text_that_it_gives():
    assert [Version.parse(v.text) for v in Version] == list(Version)
    assert (Version.V4_3.major, Version.V4_3.minor, str(Version.V4_3)) == (4, 3, "4.3")


@pytest.mark.parametrize("text", ["", "4", "4.4", "4.30", " 4.3", "2.0", "٤.٣"])
def test_any_other_text_is_refused_with_the_versions_known(text):
    with pytest.raises(ValueError, match=r"no version known here: 3\.0, 3\.1, 3\.2, 3\.3, 4\.0, 4\.1, 4\.2, 4\.3"):
        Version.parse(text)


def test_a_version_is_not_compared_with_a_text():
    with pytest.raises(TypeError):
        assert Version.V4_3 < "4.4"

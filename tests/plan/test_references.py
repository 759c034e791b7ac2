import pytest

from taskkit.plan.references import Directory, nearest


def test_a_uuid_is_found_in_capitals_and_in_small_letters():
    directory = Directory([("AB", None, None)])
    assert directory.find("AB") == directory.find("ab") == ("ab",)
    assert directory.word("AB") == "ab"


def test_a_word_that_means_nothing_finds_nothing():
    assert Directory([]).find("x") == ()
    with pytest.raises(LookupError):
        Directory([]).word("x")


def test_the_name_of_one_may_be_the_code_of_another():
    directory = Directory([("1", "7", "North"), ("2", "North", "South")])
    assert directory.find("North") == ("1", "2")
    assert [directory.word(uuid) for uuid in "12"] == ["7", "South"]


def test_the_nearest_word_is_offered_where_there_is_one():
    assert nearest("Home Fram", ["Hill Farm", "Home Farm"]) == "Home Farm"
    assert nearest("xyz", ["Home Farm"]) is None
    assert nearest("a" * 1000, ["a" * 1000]) is None

import os
import random
import stat
import struct
import subprocess
import sys
import textwrap
import warnings
import zipfile
from pathlib import Path

import pytest

from taskkit import packed as zips
from taskkit.errors import InputError, TaskkitError, UnsafeInputError
from taskkit.taskdata import store as module
from taskkit.taskdata.store import Companions, open_store, written_beside


def lay(folder, *names):
    for name in names:
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(name)
    return folder


def packed(path, *names, method=zipfile.ZIP_STORED, **contents):
    """A zip of files whose content is their name, or what is given."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # zipfile warns of a name that is there twice
        with zipfile.ZipFile(path, "w", method) as archive:
            for name in names:
                archive.writestr(name, name)
            for name, content in contents.items():
                archive.writestr(name, content)
    return path


LAYOUTS = {
    "flat": (["TASKDATA.XML", "LINKLIST.XML"], "", ["LINKLIST.XML", "TASKDATA.XML"], []),
    "in its folder": (["TASKDATA/TASKDATA.XML", "TASKDATA/a.bin"], "TASKDATA", ["TASKDATA.XML", "a.bin"], []),
    "lower case": (["taskdata/taskdata.xml"], "taskdata", ["taskdata.xml"], []),
    "two deep": (["stick/TASKDATA/TASKDATA.XML", "r.txt"], "stick/TASKDATA", ["TASKDATA.XML"], ["r.txt"]),
    "other files beside": (["TASKDATA/TASKDATA.XML", "b/r.txt", "a"], "TASKDATA", ["TASKDATA.XML"], ["a", "b/r.txt"]),
    "the higher of two": (["a/TASKDATA.XML", "a/b/TASKDATA.XML"], "a", ["TASKDATA.XML"], ["a/b/TASKDATA.XML"]),
    "TASKDATA before others": (["A/TASKDATA.XML", "TASKDATA/TASKDATA.XML"], "TASKDATA", ["TASKDATA.XML"],
                               ["A/TASKDATA.XML"]),
    "the first of two equals": (["b/TASKDATA.XML", "a/TASKDATA.XML"], "a", ["TASKDATA.XML"], ["b/TASKDATA.XML"]),
    "none": (["x/y.txt", "z.txt"], "", ["z.txt"], ["x/y.txt"]),
}  # fmt: skip
layouts = pytest.mark.parametrize(("names", "folder", "inside", "outside"), LAYOUTS.values(), ids=LAYOUTS.keys())


@layouts
def test_the_set_is_found_in_a_folder(tmp_path, names, folder, inside, outside):
    store = open_store(lay(tmp_path, *names))
    assert (store.folder, list(store.names), list(store.elsewhere)) == (folder, inside, outside)
    prefix = f"{folder}/" if folder else ""
    assert [store.read(name).decode() for name in store.names] == [prefix + name for name in inside]


@layouts
@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED], ids=["stored", "deflated"])
def test_the_set_is_found_in_a_zip(tmp_path, names, folder, inside, outside, method):
    store = open_store(packed(tmp_path / "set.zip", *names, method=method))
    assert (store.folder, list(store.names), list(store.elsewhere)) == (folder, inside, outside)
    prefix = f"{folder}/" if folder else ""
    assert [store.read(name).decode() for name in store.names] == [prefix + name for name in inside]


def test_the_task_file_itself_stands_for_its_folder(tmp_path):
    lay(tmp_path, "TASKDATA.XML", "LINKLIST.XML")
    assert open_store(str(tmp_path / "TASKDATA.XML")).names == ("LINKLIST.XML", "TASKDATA.XML")


def test_folders_are_looked_through_to_a_depth_only(tmp_path):
    lay(tmp_path, "a/b/c/r.txt", "a/b/c/d/TASKDATA.XML")
    store = open_store(tmp_path)
    assert (store.names, store.elsewhere) == ((), ("a/b/c/r.txt",))


def test_backslashes_in_a_zip_are_folders(tmp_path):
    store = open_store(packed(tmp_path / "set.zip", "TASKDATA\\TASKDATA.XML", "TASKDATA\\A.BIN"))
    assert (store.folder, store.names) == ("TASKDATA", ("A.BIN", "TASKDATA.XML"))
    assert store.read("TASKDATA.XML") == b"TASKDATA\\TASKDATA.XML"


def test_entries_for_folders_are_passed_over(tmp_path):
    store = open_store(packed(tmp_path / "set.zip", "TASKDATA/", "TASKDATA/TASKDATA.XML", "EMPTY/"))
    assert (store.names, store.elsewhere) == (("TASKDATA.XML",), ())


def test_companions_are_read_when_they_are_asked_for(tmp_path):
    store = open_store(lay(tmp_path, "TASKDATA.XML", "A.BIN", "B.BIN"))
    companions = Companions(store, ("A.BIN", "B.BIN"))
    (tmp_path / "A.BIN").write_text("late")
    assert (list(companions), len(companions)) == (["A.BIN", "B.BIN"], 2)
    assert companions["A.BIN"] == b"late"
    with pytest.raises(KeyError):
        companions["TASKDATA.XML"]


# What is refused.


@pytest.mark.parametrize(
    "name",
    [
        *("../TASKDATA.XML", "a/../../TASKDATA.XML", "..\\TASKDATA.XML", "/TASKDATA.XML", "\\TASKDATA.XML"),
        *("C:/TASKDATA.XML", "C:TASKDATA.XML", "a/C:\\TASKDATA.XML", "TASKDATA.XML:stream", "..", ".", "./."),
    ],
)
def test_an_entry_that_leaves_its_folder_is_refused(tmp_path, name):
    with pytest.raises(UnsafeInputError, match=r"would leave its folder\. Pack the folder itself"):
        open_store(packed(tmp_path / "set.zip", "TASKDATA.XML", name))


def test_a_name_that_is_there_twice_is_refused(tmp_path):
    for twin in ("TASKDATA/TASKDATA.XML", "TASKDATA\\TASKDATA.XML", "TASKDATA//TASKDATA.XML"):
        with pytest.raises(UnsafeInputError, match=r"is there twice\. Pack it anew"):
            open_store(packed(tmp_path / "set.zip", "TASKDATA/TASKDATA.XML", twin))


def test_too_many_files_are_refused(tmp_path, monkeypatch):
    for bounded in (module, zips):
        monkeypatch.setattr(bounded, "MAX_FILES", 5)
    names = [f"{n}.bin" for n in range(6)]
    for path in (packed(tmp_path / "set.zip", *names), lay(tmp_path / "set", *names)):
        with pytest.raises(UnsafeInputError, match="more than 5 files"):
            open_store(path)
    assert len(open_store(packed(tmp_path / "set.zip", *names[1:])).names) == 5


def test_sizes_have_bounds_before_anything_is_unpacked(tmp_path, monkeypatch):
    zipped = packed(tmp_path / "set.zip", A="x" * 2000, B="x" * 2000)
    folder = lay(tmp_path / "set", "A")
    (folder / "A").write_text("x" * 2000)
    for bounded in (module, zips):
        monkeypatch.setattr(bounded, "MAX_FILE_BYTES", 1999)
    with pytest.raises(UnsafeInputError, match="the entry 'A' is larger than"):
        open_store(zipped)
    with pytest.raises(UnsafeInputError, match="larger than"):
        open_store(folder).read("A")
    for bounded in (module, zips):
        monkeypatch.setattr(bounded, "MAX_FILE_BYTES", 2000)
    monkeypatch.setattr(zips, "MAX_ALL_BYTES", 3999)
    with pytest.raises(UnsafeInputError, match="GiB unpacked"):
        open_store(zipped)
    monkeypatch.setattr(zips, "MAX_ALL_BYTES", 4000)
    assert open_store(zipped).read("B") == b"x" * 2000
    assert open_store(folder).read("A") == b"x" * 2000


def test_a_ratio_beyond_the_bound_is_refused_and_small_files_may_shrink_as_they_like(tmp_path):
    deflated = zipfile.ZIP_DEFLATED
    with pytest.raises(UnsafeInputError, match="unpacks to more than 300 times its size"):
        open_store(packed(tmp_path / "set.zip", method=deflated, A="x" * 2_000_000))
    assert len(open_store(packed(tmp_path / "set.zip", method=deflated, A="x" * 1_000_000)).read("A")) == 1_000_000
    points = "".join(f'<PNT A="2" C="54.{n * 7919 % 10**9:09d}" D="9.1"/>' for n in range(40_000))
    assert len(open_store(packed(tmp_path / "set.zip", method=deflated, A=points)).read("A")) == len(points)


def with_directory(path, change):
    """The zip with its central directory changed: records of 46 bytes and a name (APPNOTE.TXT, 4.3.12)."""
    data = bytearray(path.read_bytes())
    at = data.index(b"PK\x01\x02")
    number = 0
    while data[at : at + 4] == b"PK\x01\x02":
        change(number, data, at)
        at += 46 + sum(struct.unpack_from("<HHH", data, at + 28))
        number += 1
    path.write_bytes(data)
    return path


def set_field(offset, form, value, only=None):
    def change(number, data, at):
        if only is None or number == only:
            struct.pack_into(form, data, at + offset, value)

    return change


def test_entries_that_share_bytes_are_refused(tmp_path):
    path = packed(tmp_path / "set.zip", A="x" * 500, B="y" * 500)
    with pytest.raises(UnsafeInputError, match="overlaps another"):
        open_store(with_directory(path, set_field(42, "<I", 0)))
    path = packed(tmp_path / "set.zip", A="x" * 500, B="y" * 500)
    with pytest.raises(UnsafeInputError, match="overlaps another"):
        open_store(with_directory(path, set_field(20, "<I", 501, only=0)))


def test_names_of_old_programs_do_not_look_like_an_overlap(tmp_path):
    # Without bit 11, a name has one byte a character; counted in UTF-8 it would reach into the next entry.
    path = packed(tmp_path / "set.zip", "TASKDATA.XML", "xx.txt", "b.txt")
    data = path.read_bytes().replace(b"xx.txt", b"\x81\x82.txt")
    path.write_bytes(data)
    store = open_store(path)
    assert store.names == ("TASKDATA.XML", "b.txt", "üé.txt")
    assert store.read("b.txt") == b"b.txt"


def test_an_entry_larger_than_it_says_is_not_unpacked_beyond(tmp_path):
    path = packed(tmp_path / "set.zip", method=zipfile.ZIP_DEFLATED, A="x" * 900_000)
    store = open_store(with_directory(path, set_field(24, "<I", 100)))
    with pytest.raises(InputError, match=r"the entry 'A' (cannot be read|is not as large as it says)"):
        store.read("A")


def test_an_entry_smaller_than_it_says_is_refused(tmp_path):
    path = packed(tmp_path / "set.zip", method=zipfile.ZIP_DEFLATED, A="abcdefgh" * 10)
    store = open_store(with_directory(path, set_field(24, "<I", 5000)))
    with pytest.raises(InputError, match="the entry 'A' is not as large as it says"):
        store.read("A")


def test_an_encrypted_entry_is_refused_with_a_way_out(tmp_path):
    path = with_directory(packed(tmp_path / "set.zip", A="x"), set_field(8, "<H", 1))
    with pytest.raises(InputError, match=r"'A' is encrypted\. Pack it without a password"):
        open_store(path)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA, 9, 97])
def test_other_ways_of_packing_are_refused(tmp_path, method):
    path = with_directory(packed(tmp_path / "set.zip", A="x"), set_field(10, "<H", method))
    with pytest.raises(InputError, match="packed in an unusual way"):
        open_store(path)


def test_a_directory_too_large_to_count_is_refused_unread(tmp_path, monkeypatch):
    path = packed(tmp_path / "set.zip", *(f"{n:0200d}" for n in range(20)))
    monkeypatch.setattr(zips, "_MAX_DIRECTORY_BYTES", 4000)
    with pytest.raises(UnsafeInputError, match="the directory of the zip is too large"):
        open_store(path)


def test_a_broken_entry_is_told_with_its_name(tmp_path):
    path = packed(tmp_path / "set.zip", TEXT="hello hello")
    path.write_bytes(path.read_bytes().replace(b"hello hello", b"hullo hello"))
    with pytest.raises(InputError, match="the entry 'TEXT' cannot be read: Bad CRC-32"):
        open_store(path).read("TEXT")


@pytest.mark.parametrize("content", [b"", b"no zip at all", b"PK\x03\x04", b"PK\x05\x06" + bytes(18), b"\0" * 100])
def test_what_is_no_zip_is_told(tmp_path, content):
    path = tmp_path / "set.zip"
    path.write_bytes(content)
    if content[:4] == b"PK\x05\x06":
        assert open_store(path).names == ()
    else:
        with pytest.raises(InputError, match="neither a folder nor a zip"):
            open_store(path)


@pytest.mark.parametrize("name", ["nothing", "nothing/at/all", "a\0b", "x" * 300])
def test_what_is_not_there_is_told(tmp_path, name):
    with pytest.raises(InputError, match=r"no such folder or file|cannot be opened"):
        open_store(tmp_path / name)


def test_a_broken_zip_is_always_an_error_of_ours(tmp_path):
    path = packed(tmp_path / "set.zip", "TASKDATA/TASKDATA.XML", "TASKDATA/ü.bin", "r.txt", method=zipfile.ZIP_DEFLATED)
    good, chance = path.read_bytes(), random.Random(7)
    refused = 0
    for _ in range(600):
        data = bytearray(good)
        for _ in range(chance.choice([1, 1, 2, 5])):
            at = chance.randrange(len(data))
            data[at : at + chance.choice([0, 1, 1, 1, 4])] = chance.choice([b"", bytes([chance.randrange(256)])])
        path.write_bytes(data)
        try:
            store = open_store(path)
            for name in store.names:
                store.read(name)
        except TaskkitError:
            refused += 1
    assert refused > 120


def test_an_entry_without_a_name_is_told(tmp_path):
    path = packed(tmp_path / "set.zip", "x")
    with_directory(path, set_field(28, "<H", 0))
    with pytest.raises(TaskkitError):
        open_store(path)


def test_links_and_devices_are_not_read(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("secret")
    folder = lay(tmp_path / "set", "A.BIN")
    (folder / "TASKDATA.XML").symlink_to(secret)
    os.mkfifo(folder / "PIPE")
    store = open_store(folder)
    for name in ("TASKDATA.XML", "PIPE"):
        with pytest.raises(UnsafeInputError, match="not a plain file"):
            store.read(name)


def test_a_folder_behind_a_link_is_not_entered(tmp_path):
    lay(tmp_path / "other", "TASKDATA.XML")
    folder = lay(tmp_path / "set", "r.txt")
    (folder / "TASKDATA").symlink_to(tmp_path / "other")
    assert open_store(folder).names == ("r.txt",)


def test_a_link_in_a_zip_is_plain_bytes(tmp_path):
    path = tmp_path / "set.zip"
    with zipfile.ZipFile(path, "w") as archive:
        entry = zipfile.ZipInfo("TASKDATA.XML")
        entry.create_system, entry.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
        archive.writestr(entry, "/etc/passwd")
    assert open_store(path).read("TASKDATA.XML") == b"/etc/passwd"


def test_a_file_whose_name_is_no_text_is_told(tmp_path):
    (tmp_path / os.fsdecode(b"\xff.txt")).write_text("x")
    with pytest.raises(InputError, match=r"is no text\. Rename it"):
        open_store(tmp_path)


def test_a_file_that_goes_away_is_told(tmp_path):
    store = open_store(lay(tmp_path, "TASKDATA.XML"))
    (tmp_path / "TASKDATA.XML").unlink()
    with pytest.raises(InputError, match="cannot be read: No such file"):
        store.read("TASKDATA.XML")


# Writing beside.


def tree(folder):
    return {p.relative_to(folder).as_posix(): p.read_text() if p.is_file() else None for p in folder.rglob("*")}


def test_a_folder_takes_its_place_when_the_block_ends_well(tmp_path):
    with written_beside(tmp_path / "out" / "TASKDATA") as new:
        lay(new, "TASKDATA.XML")
        assert new.name == "TASKDATA"
        assert not (tmp_path / "out" / "TASKDATA").exists()
    assert tree(tmp_path) == {"out": None, "out/TASKDATA": None, "out/TASKDATA/TASKDATA.XML": "TASKDATA.XML"}


@pytest.mark.parametrize("was", ["file", "folder"])
@pytest.mark.parametrize("becomes", ["file", "folder"])
@pytest.mark.parametrize("old", ["file", "folder", None])
def test_what_was_there_is_kept_as_old_for_one_generation(tmp_path, was, becomes, old):
    def put(path, kind, text):
        if kind == "folder":
            path.mkdir()
            path = path / "inside"
        path.write_text(text)

    def text_of(path):
        return (path / "inside" if path.is_dir() else path).read_text()

    target = tmp_path / "set"
    put(target, was, "was")
    if old is not None:
        put(tmp_path / "set.old", old, "older")
    with written_beside(target) as new:
        put(new, becomes, "new")
        assert text_of(target) == "was"
    assert (text_of(target), text_of(tmp_path / "set.old")) == ("new", "was")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["set", "set.old"]


def fail_halfway(target):
    with written_beside(target) as new:
        lay(new, "half")
        raise ZeroDivisionError


def test_a_failure_leaves_the_target_untouched_and_nothing_behind(tmp_path):
    lay(tmp_path, "set/a", "set.old/b")
    before = tree(tmp_path)
    with pytest.raises(ZeroDivisionError):
        fail_halfway(tmp_path / "set")
    assert tree(tmp_path) == before


def test_a_failure_takes_back_the_folders_it_made(tmp_path):
    lay(tmp_path, "there/a")
    with pytest.raises(ZeroDivisionError):
        fail_halfway(tmp_path / "there" / "new" / "er" / "set")
    assert tree(tmp_path) == {"there": None, "there/a": "there/a"}


def test_a_block_that_writes_nothing_is_told(tmp_path):
    with pytest.raises(InputError, match="cannot be written"), written_beside(tmp_path / "set"):
        pass
    assert tree(tmp_path) == {}


def test_a_failed_exchange_brings_the_target_back(tmp_path, monkeypatch):
    lay(tmp_path, "set/a")
    rename = Path.rename

    def failing(self, target):
        if self.parent.parent == tmp_path:
            raise OSError(5, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    with (
        pytest.raises(InputError, match="cannot be written: Input/output error"),
        written_beside(tmp_path / "set") as new,
    ):
        lay(new, "b")
    assert tree(tmp_path) == {"set": None, "set/a": "set/a"}


def test_a_place_below_a_plain_file_is_told(tmp_path):
    lay(tmp_path, "file")
    for target in (tmp_path / "file" / "set", tmp_path / "file" / "deeper" / "set"):
        with (
            pytest.raises(InputError, match=r"cannot be written to: .*\. Choose another place"),
            written_beside(target),
        ):
            pytest.fail("the block must not begin")
    assert tree(tmp_path) == {"file": "file"}


def test_a_full_disk_leaves_the_target_untouched_and_nothing_behind(tmp_path):
    lay(tmp_path, "set/a")
    code = textwrap.dedent("""
        import resource, signal, sys
        from pathlib import Path
        from taskkit.errors import InputError
        from taskkit.taskdata.store import written_beside

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
        try:
            with written_beside(Path(sys.argv[1])) as new:
                new.mkdir()
                (new / "small").write_bytes(bytes(90_000))
                (new / "TASKDATA.XML").write_bytes(bytes(200_000))
        except InputError as error:
            print(error)
    """)
    run = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "set")], capture_output=True, text=True, timeout=60, check=False
    )
    assert run.returncode == 0, run.stderr
    assert "cannot be written: File too large. Is there room" in run.stdout
    assert tree(tmp_path) == {"set": None, "set/a": "set/a"}

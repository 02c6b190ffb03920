"""Photos in backups: all of them, each once for all backups, whole or named."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from pathlib import Path
from typing import Any

import pytest

from logger.errors import BadInput
from logger.store import photos
from logger.store.backup import back_up, restore

NAME = f"{hashlib.sha256(b'one').hexdigest()}.jpg"
#: Backups are SQLite's.
ONLY_SQLITE = True


@pytest.fixture
def live(store: Any) -> Path:
    """The live database; its folder of photos is beside it."""
    return Path(store.url.database)


def take(live: Path, raw: bytes) -> str:
    """A photo is taken; its name."""
    name = f"{hashlib.sha256(raw).hexdigest()}.jpg"
    photos.put(raw, live.with_name("photos"), name)
    return name


def test_photos_come_along_and_back(live: Path, tmp_path: Path) -> None:
    """The machine is lost: a new one has the record and its photos."""
    names = sorted(take(live, raw) for raw in (b"one", b"two"))
    made = back_up(live, tmp_path / "backups", 1_795_624_200_000)
    assert (made.photos, made.damaged_photos) == (names, [])
    found = restore(made.path, tmp_path / "new" / "pourlog.sqlite3")
    assert found.photos == names
    back = {path.name: path.read_bytes() for path in (tmp_path / "new" / "photos").iterdir()}
    assert sorted(back) == names
    assert sorted(back.values()) == [b"one", b"two"]


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a file away")
def test_what_root_restores_belongs_to_the_folders_owner(live: Path, tmp_path: Path) -> None:
    """Restored with sudo, the database would else be one that the service cannot write."""
    name = take(live, b"one")
    made = back_up(live, tmp_path / "backups", 1_795_624_200_000)
    folder = tmp_path / "new"
    folder.mkdir()
    os.chown(folder, 54_321, 54_322)
    restore(made.path, folder / "pourlog.sqlite3")
    for path in (folder / "pourlog.sqlite3", folder / "photos", folder / "photos" / name):
        assert (path.stat().st_uid, path.stat().st_gid) == (54_321, 54_322), path


def test_backups_of_one_folder_share_a_photo_and_one_that_is_gone_stays_in_them(
    store: Any, live: Path, tmp_path: Path
) -> None:
    """A card is small; and what was backed up once is not lost with the original."""
    name = take(live, b"one")
    back_up(live, tmp_path / "backups", 1_795_624_200_000)
    kept = tmp_path / "backups" / "photos" / name
    before = kept.stat().st_ino
    live.with_name("photos").joinpath(name).unlink()
    again = back_up(live, tmp_path / "backups", 1_795_624_300_000)
    assert kept.stat().st_ino == before
    assert again.photos == [name]
    store.close()
    restore(again.path, live)
    assert live.with_name("photos").joinpath(name).read_bytes() == b"one"


def test_a_damaged_photo_is_named_and_keeps_nobody_from_the_rest(live: Path, tmp_path: Path) -> None:
    """Never over a good copy, never as if it were whole."""
    good, bad = take(live, b"one"), take(live, b"two")
    live.with_name("photos").joinpath(bad).write_bytes(b"twO")
    made = back_up(live, tmp_path / "backups", 1_795_624_200_000)
    assert (made.photos, made.damaged_photos) == ([good], [bad])
    photos.put(b"two", live.with_name("photos"), bad)
    made = back_up(live, tmp_path / "backups", 1_795_624_300_000)
    (tmp_path / "backups" / "photos" / good).write_bytes(b"onE")
    found = restore(made.path, tmp_path / "new" / "pourlog.sqlite3")
    assert (found.photos, found.damaged_photos) == ([bad], [good])
    back_up(live, tmp_path / "backups", 1_795_624_400_000)
    assert (tmp_path / "backups" / "photos" / good).read_bytes() == b"one", "the next backup mends it"


def test_a_backup_of_before_photos_were_in_it_is_restored_too(live: Path, tmp_path: Path) -> None:
    """Its manifest says nothing of them."""
    made = back_up(live, tmp_path / "backups", 1_795_624_200_000)
    manifest = made.path.with_suffix(".json")
    stated = json.loads(manifest.read_text(encoding="utf-8"))
    del stated["photos"]
    manifest.write_text(json.dumps(stated), encoding="utf-8")
    assert restore(made.path, tmp_path / "new" / "pourlog.sqlite3").photos == []


def test_a_name_that_leads_elsewhere_is_not_followed(tmp_path: Path) -> None:
    """A manifest is only a file."""
    name = f"{hashlib.sha256(b'one').hexdigest()}.jpg"
    photos.put(b"one", tmp_path / "a" / "b", name)
    astray = f"../{name}"
    photos.put(b"one", tmp_path / "a", name)
    copied = photos.copy_missing([astray], tmp_path / "a" / "b", tmp_path / "c" / "d")
    assert (copied.there, copied.damaged) == ([], [astray])
    assert not (tmp_path / "c").exists()


def test_a_photo_is_on_the_disk_before_anything_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its bytes first, then its name, then the folder's: a power cut leaves no record that points to nothing."""
    done: list[str] = []
    real, replace = os.fsync, Path.replace

    def synced(handle: int) -> None:
        done.append(str(Path(f"/proc/self/fd/{handle}").readlink()).removeprefix(str(tmp_path)))
        real(handle)

    def renamed(self: Path, target: Path) -> Path:
        done.append("named")
        return replace(self, target)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(Path, "replace", renamed)
    photos.put(b"one", tmp_path / "photos", NAME)
    assert done == [f"/photos/.{NAME}.part", "named", "/photos", ""]


def test_a_photo_that_finds_no_room_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a file would take up the room that the watch needs."""

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        photos.put(b"one", tmp_path / "photos", NAME)
    assert list((tmp_path / "photos").iterdir()) == []


#: Names that are no photo's, as a record from anybody could have them.
NO_NAMES = [
    "../pourlog",
    "../../settings",
    "..",
    ".",
    "",
    "/etc/passwd",
    "*",
    "?" * 64,
    "[0-9a-f]" * 8,
    "a" * 63,
    "A" * 64,
    "a" * 64 + "/../x",
    "a" * 64 + "\n",
    "\0" * 64,
    "\uff41" * 64,
    "..\\..\\x",
    "%2e%2e/",
    None,
    7,
    ["a" * 64],
]


@pytest.mark.parametrize("name", NO_NAMES)
def test_nothing_but_a_hash_is_looked_for_on_the_disk(tmp_path: Path, name: Any) -> None:
    """Whatever lies beside, above or below the photos."""
    folder = tmp_path / "data" / "photos"
    (folder / "below").mkdir(parents=True)
    for path in (
        tmp_path / "settings.toml",
        tmp_path / "data" / "pourlog.sqlite3",
        folder / "below" / "x.jpg",
        folder / "x.jpg",
        folder / f"{'A' * 64}.jpg",
    ):
        path.write_bytes(b"secret")
    assert photos.path_of(folder, name) is None


@pytest.mark.parametrize(
    "name", [*(str(name) for name in NO_NAMES), "../" + "a" * 64 + ".jpg", "a" * 64, "a" * 64 + ".toml"]
)
def test_a_photo_is_put_and_copied_under_no_other_name(tmp_path: Path, name: str) -> None:
    """Neither beside its folder nor into a backup, whatever a backup's list says."""
    folder, other = tmp_path / "photos", tmp_path / "backup"
    folder.mkdir()
    with pytest.raises(BadInput, match="is no photo's name"):
        photos.put(b"x", folder, name)
    copied = photos.copy_missing([name], folder, other)
    assert (copied.there, copied.damaged) == ([], [name])
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["photos"]

"""Pictures beside a recording: kept with the clip, gone with it, in the backup, never bare of their limits."""

import io

import pytest
from PIL import Image

from listen.errors import LibraryError
from listen.library import open_library
from listen.library.pictures import MOST_PER_CLIP
from tests.library.sounds import wav


def jpeg(shade=0, **extra):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), (shade, 90, 20)).save(out, "JPEG", **extra)
    return out.getvalue()


def test_pictures_are_kept_in_their_order_and_read_as_they_were(library):
    clip = library.add_clip(wav(seed=1), by="Kim")
    library.pictures.add(clip.sha256, jpeg(1), shows="gauge", by="Kim")
    library.pictures.add(clip.sha256[:12], jpeg(2), shows="wet_spot", by="Kim")
    first, second = library.pictures.of(clip.sha256)
    assert (first.shows, second.shows, first.added_by) == ("gauge", "wet_spot", "Kim")
    assert library.pictures.read(second) == jpeg(2)
    assert library.verify().fine


def test_the_same_picture_again_is_one(library):
    clip = library.add_clip(wav(seed=1), by="Kim")
    for shows in ("other", "plate"):
        library.pictures.add(clip.sha256, jpeg(1), shows=shows, by="Kim")
    assert [one.shows for one in library.pictures.of(clip.sha256)] == ["plate"]


def test_a_deleted_clip_takes_its_pictures_along_but_not_those_of_others(library):
    gone, stays = (library.add_clip(wav(seed=n), by="Kim") for n in (1, 2))
    library.pictures.add(gone.sha256, jpeg(1), shows="gauge", by="Kim")
    library.pictures.add(gone.sha256, jpeg(2), shows="gauge", by="Kim")
    kept = library.pictures.add(stays.sha256, jpeg(2), shows="gauge", by="Kim")
    lost = library.pictures.of(gone.sha256)[0].sha256
    library.delete(gone.sha256, by="Kim", why="asked by the owner")
    assert library.vault.hash_of(lost) is None
    assert library.pictures.read(kept) == jpeg(2)
    assert library.verify().fine


def test_a_picture_can_be_taken_away(library):
    clip = library.add_clip(wav(seed=1), by="Kim")
    one = library.pictures.add(clip.sha256, jpeg(1), shows="gauge", by="Kim")
    library.pictures.remove(one)
    assert library.pictures.of(clip.sha256) == () and library.vault.hash_of(one.sha256) is None
    assert library.verify().fine


def test_what_is_no_bare_jpeg_is_refused(small):
    clip = small.add_clip(wav(seed=1), by="Kim")
    exif = Image.Exif()
    exif[0x010F] = "a phone"
    for data, shows, by, why in (
        (b"\x89PNG", "gauge", "Kim", "draw it anew"),
        (jpeg(exif=exif), "gauge", "Kim", "without place"),
        (jpeg() + bytes(9_000_000), "gauge", "Kim", "8 MB"),
        (jpeg(), "cat", "Kim", "shows one of"),
        (jpeg(), "gauge", " ", "who"),
    ):
        with pytest.raises(LibraryError, match=why):
            small.pictures.add(clip.sha256, data, shows=shows, by=by)
    assert small.pictures.of(clip.sha256) == ()
    with pytest.raises(LibraryError):
        small.pictures.add("ab" * 32, jpeg(), shows="gauge", by="Kim")


def test_there_is_an_end_to_pictures(small):
    clip = small.add_clip(wav(seed=1), by="Kim")
    for shade in range(MOST_PER_CLIP):
        small.pictures.add(clip.sha256, jpeg(15 * shade), shows="other", by="Kim")
    with pytest.raises(LibraryError, match="remove one first"):
        small.pictures.add(clip.sha256, jpeg(250), shows="other", by="Kim")


def test_a_backup_brings_pictures_back(small, tmp_path):
    from listen.library.place import find_place
    from listen.library.restore import restore

    clip = small.add_clip(wav(seed=1), by="Kim")
    small.pictures.add(clip.sha256, jpeg(1), shows="gauge", by="Kim")
    small.backup(tmp_path / "b.tar")
    restore(tmp_path / "b.tar", find_place(tmp_path / "again"))
    with open_library(tmp_path / "again") as again:
        (one,) = again.pictures.of(clip.sha256)
        assert again.pictures.read(one) == jpeg(1)
        assert again.verify().fine

"""What a pack may bring: what its entries name and its size allows, summed up before it changes what is here."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from journal.cli.main import group
from journal.errors import BadInput, RecordError
from journal.facts import (
    Answer,
    ClockSetBack,
    Correction,
    Cut,
    Engine,
    EngineChanged,
    Entry,
    JobClosed,
    JobFact,
    JobReopened,
    Note,
    Photo,
    Question,
    Withdrawal,
    new_id,
)
from journal.record import unpack as unpacking
from journal.record.brought import Brought, signers
from journal.record.clips import keep_clip
from journal.record.keys import journal_key, name_of
from journal.record.pack import pack
from journal.record.photos import page_copy_path, take_in, thumbnail_path
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.verify import verify
from journal.study import ClosedJobs
from tests.record.arrange import Scribe, opened
from tests.record.pictures import file_of, scene
from tests.record.test_pack import contents, honest, rewritten

pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")


def a_job(store: Store, **more: object) -> Scribe:
    """A job with a sound and a photo."""
    job = opened(**more)
    job.say(Cut(3, 30.0), clip=keep_clip(store.folder, np.sin(np.arange(4000, dtype=np.float32) / 9)))
    job.say(Photo(take_in(store.folder, file_of(scene(160, 120)), "a.jpg").sha256, "a.jpg", "overhead"))
    store.append(*job.entries)
    return job


def picture(path: Path) -> tuple[int, ...]:
    """The colour in the middle of a picture."""
    with Image.open(path) as image:
        return tuple(image.convert("RGB").resize((1, 1)).getpixel((0, 0)))  # type: ignore[arg-type]


def of_one_colour(colour: str) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (160, 120), colour).save(file, "JPEG")
    return file.getvalue()


def forged(store: Store, sha256: str, folder: Path, copy: bytes) -> Path:
    """A pack of another job that names the photo and brings its own picture as that photo's copy."""
    job = opened()
    job.say(Photo(sha256, "a.jpg"))
    store.append(*job.entries)
    pack(store, job.job, folder / "forged.zip")

    def put(files: dict[str, bytes]) -> None:
        files[f"copies/{sha256}-page.jpg"] = copy
        honest(files)

    return rewritten(folder / "forged.zip", put)


@pytest.mark.parametrize("copies_made", [True, False])
def test_a_pack_of_another_job_cannot_replace_what_a_photo_shows(
    here: Store, there: Store, tmp_path: Path, copies_made: bool
) -> None:
    photo = take_in(here.folder, of_one_colour("white"), "a.jpg")
    job = opened()
    job.say(Photo(photo.sha256, "a.jpg"))
    here.append(*job.entries)
    if not copies_made:  # as after a pack: they are made when they are first asked for
        shutil.rmtree(here.folder / "copies")
    unpack(here, forged(there, photo.sha256, tmp_path, of_one_colour("black")))
    assert min(picture(page_copy_path(here.folder, photo.sha256))) > 200
    assert min(picture(thumbnail_path(here.folder, photo.sha256))) > 200


def test_a_copy_that_came_first_gives_way_to_the_original(here: Store, there: Store, tmp_path: Path) -> None:
    white = of_one_colour("white")
    sha256 = hashlib.sha256(white).hexdigest()
    unpack(here, forged(there, sha256, tmp_path, of_one_colour("black")))
    assert max(picture(page_copy_path(here.folder, sha256))) < 50
    assert take_in(here.folder, white, "a.jpg").sha256 == sha256
    assert min(picture(page_copy_path(here.folder, sha256))) > 200


def true_copies(store: Store, folder: Path, photo: bytes) -> tuple[str, Path]:
    """A job with a photo, as a pack that brings its page copy."""
    taken = take_in(store.folder, photo, "a.jpg")
    job = opened(technician="Ada")
    job.say(Photo(taken.sha256, "a.jpg"))
    store.append(*job.entries)
    pack(store, job.job, folder / "true.zip", originals=False)
    return taken.sha256, folder / "true.zip"


def mark_of_a_crack(photo: bytes) -> bytes:
    """The same picture with a small patch painted over."""
    with Image.open(io.BytesIO(photo)) as image:
        image.paste("black", (200, 200, 216, 216))
        return file_of(image)


FOREIGN = {"another": of_one_colour("black"), "a detail of it": mark_of_a_crack(file_of(scene()))}


@pytest.mark.parametrize("foreign", FOREIGN.values(), ids=FOREIGN.keys())
def test_a_foreign_copy_that_came_first_is_shown_beside_the_true_one_and_gives_way_when_told(
    here: Store, there: Store, tmp_path: Path, foreign: bytes
) -> None:
    sha256, true = true_copies(there, tmp_path, file_of(scene()))
    with Store.open(tmp_path / "mallory") as mallory:
        unpack(here, forged(mallory, sha256, tmp_path, foreign))
    before = page_copy_path(here.folder, sha256).read_bytes()
    small = thumbnail_path(here.folder, sha256).read_bytes()
    asked: list[str] = []

    def refuse(brought: Brought) -> None:
        asked.extend(brought.pictures)
        raise click.Abort

    with pytest.raises(click.Abort):
        unpack(here, true, refuse)
    assert asked == ["photo a.jpg of Ada: the pack shows another picture than the copy that is here"]
    assert page_copy_path(here.folder, sha256).read_bytes() == before
    answer = CliRunner().invoke(group, ["--journal", str(here.folder), "unpack", str(true)], input="n\n")
    assert asked[0] in answer.output and "2 entries of Ada: signed by" in answer.output and answer.exit_code == 1
    assert page_copy_path(here.folder, sha256).read_bytes() == before
    assert CliRunner().invoke(group, ["--journal", str(here.folder), "unpack", str(true)], input="y\n").exit_code == 0
    shown = Image.open(page_copy_path(here.folder, sha256)).convert("L").getpixel((208, 208))
    wanted = Image.open(page_copy_path(there.folder, sha256)).convert("L").getpixel((208, 208))
    assert abs(shown - wanted) < 10 and thumbnail_path(here.folder, sha256).read_bytes() != small
    unpack(here, true, lambda brought: asked.extend(brought.pictures))
    assert len(asked) == 1, "the same copy is no other picture"


def test_a_copy_that_was_handed_on_twice_is_the_same_picture(here: Store, there: Store, tmp_path: Path) -> None:
    _, true = true_copies(there, tmp_path, file_of(scene()))
    with Store.open(tmp_path / "second") as second:
        unpack(second, true)
        pack(second, second.references()[0][0], tmp_path / "on.zip", originals=False)
    for packed in (true, tmp_path / "on.zip", true):
        assert unpack(here, packed).brought.pictures == ()
    assert unpack(there, tmp_path / "on.zip").brought.pictures == (), "where the original is, no copy counts"


def add(name: str, data: bytes) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files[name.replace("SHA", hashlib.sha256(data).hexdigest())] = data
        honest(files)

    return change


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("clips/SHA.flac", b"fLaC" + bytes(100)),
        ("photos/SHA.jpg", of_one_colour("black")),
        (f"copies/{'ab' * 32}-page.jpg", of_one_colour("black")),
    ],
)
def test_what_no_entry_of_the_pack_names_is_refused(
    here: Store, there: Store, tmp_path: Path, name: str, data: bytes
) -> None:
    job = a_job(here)
    pack(here, job.job, tmp_path / "job.zip")
    with pytest.raises(BadInput, match="which none of its entries names: nothing was taken in"):
        unpack(there, rewritten(tmp_path / "job.zip", add(name, data)))
    assert there.last_seq() == 0 and not list(there.folder.rglob("*.flac"))


def with_a_clip(store: Store, folder: Path, data: bytes, method: int) -> Path:
    """A pack whose one clip is these bytes, named by an entry."""
    job = opened()
    job.say(Cut(3, 30.0), clip=hashlib.sha256(data).hexdigest())
    store.append(*job.entries)
    pack(store, job.job, folder / "clip.zip")
    files = contents(folder / "clip.zip")
    add("clips/SHA.flac", data)(files)
    with zipfile.ZipFile(folder / "large.zip", "w", method) as out:
        for name, content in files.items():
            out.writestr(name, content)
    return folder / "large.zip"


def test_sound_that_unfolds_to_far_more_than_its_size_is_refused_unread(
    here: Store, there: Store, tmp_path: Path
) -> None:
    packed = with_a_clip(here, tmp_path, b"fLaC" + bytes(2_000_000), zipfile.ZIP_DEFLATED)
    assert packed.stat().st_size < 20_000
    with pytest.raises(BadInput, match="to far more than a picture or sound can be"):
        unpack(there, packed)
    assert there.last_seq() == 0


def test_a_clip_longer_than_anything_said_is_refused(
    here: Store, there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = b"fLaC" + np.random.default_rng(1).bytes(50_000)
    packed = with_a_clip(here, tmp_path, data, zipfile.ZIP_STORED)
    monkeypatch.setattr(unpacking, "MOST_BYTES_A_CLIP", len(data) - 1)
    with pytest.raises(BadInput, match="which no pack does"):
        unpack(there, packed)
    monkeypatch.setattr(unpacking, "MOST_BYTES_A_CLIP", len(data))
    assert unpack(there, packed).clips == 1


@pytest.mark.parametrize(("most", "taken"), [(5, True), (4, False)])
def test_a_pack_of_more_files_than_a_pack_may_hold_is_refused(
    here: Store, there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, most: int, taken: bool
) -> None:
    pack(here, a_job(here).job, tmp_path / "job.zip")
    assert len(contents(tmp_path / "job.zip")) == 5
    monkeypatch.setattr(unpacking, "MOST_FILES", most)
    if taken:
        assert unpack(there, tmp_path / "job.zip").clips == 1
        return
    with pytest.raises(BadInput, match="would unfold to more than a pack may hold"):
        unpack(there, tmp_path / "job.zip")


def test_a_pack_that_the_disk_has_no_room_for_is_refused_whole(
    here: Store, there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pack(here, a_job(here).job, tmp_path / "job.zip")
    free = shutil.disk_usage(tmp_path)._replace(free=unpacking.ROOM_LEFT + 1000)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: free)
    with pytest.raises(RecordError, match=r"unfolds to .* MB are free: nothing was taken in; free some space"):
        unpack(there, tmp_path / "job.zip")
    assert there.last_seq() == 0 and not list(there.folder.rglob("*.jpg"))


def test_sizes_that_the_list_does_not_say_are_refused(here: Store, there: Store, tmp_path: Path) -> None:
    pack(here, a_job(here).job, tmp_path / "job.zip")

    def lie(files: dict[str, bytes]) -> None:
        manifest = json.loads(files["manifest.json"])
        manifest["files"]["entries.jsonl"]["bytes"] -= 1
        files["manifest.json"] = json.dumps(manifest).encode()

    with pytest.raises(BadInput, match="does not hold the files it lists"):
        unpack(there, rewritten(tmp_path / "job.zip", lie))


def test_sound_that_was_let_go_elsewhere_is_nothing_lost_here(here: Store, there: Store, tmp_path: Path) -> None:
    job = a_job(here)
    for clip in (here.folder / "clips").rglob("*.flac"):
        clip.unlink()
    pack(here, job.job, tmp_path / "job.zip")
    unpack(there, tmp_path / "job.zip")
    assert verify(there) == []


# Summed up before it counts


def grown_elsewhere(here: Store, there: Store, folder: Path) -> tuple[Scribe, Path]:
    """A job of Ada's whose copy came back with what Mallory did to it."""
    job = opened(technician="Ada")
    for cylinder in range(1, 7):
        job.say(Cut(cylinder, 37.0))
    asked = job.say(Question("three, or thirty?", (Cut(1, 3.0), Cut(1, 30.0))))
    here.append(*job.entries)
    pack(here, job.job, folder / "out.zip")
    unpack(there, folder / "out.zip")
    mallory = Scribe(at=job.at, technician="Mallory", job=job.job)
    for entry in job.entries[1:4]:
        mallory.say(Withdrawal(entry.id))
    mallory.say(Correction(job.entries[4].id, Cut(4, 10.0)))
    mallory.say(Answer(asked.id, 0))
    mallory.say(JobFact("unit", "another machine"))
    mallory.say(EngineChanged(Engine(6, (1, 5, 3, 6, 2, 4))))
    mallory.say(JobClosed("injector", 4))
    mallory.say(JobReopened())
    there.append(*mallory.entries)
    pack(there, job.job, folder / "back.zip")
    return job, folder / "back.zip"


def test_what_a_pack_does_to_what_is_here_is_summed_up_and_nothing_counts_before(
    here: Store, there: Store, tmp_path: Path
) -> None:
    job, packed = grown_elsewhere(here, there, tmp_path)
    shown: list[Brought] = []

    def refuse(brought: Brought) -> None:
        shown.append(brought)
        assert here.last_seq() == len(job.entries)
        raise BadInput("no")

    with pytest.raises(BadInput, match="no"):
        unpack(here, packed, refuse)
    assert here.entries(job.job) == job.entries
    assert shown[0].changes == (
        "3 entries of Ada are withdrawn",
        "1 entry of Ada is corrected",
        "1 entry of Ada is answered",
        "unit is changed by Mallory to another machine",
        "the engine is changed by Mallory",
        "the job is closed by Mallory: injector",
        "the job is reopened by Mallory",
    )
    assert shown[0].signers == (f"9 entries of Mallory: signed by {name_of(journal_key(there.folder).public)}",)
    assert len(unpack(here, packed).entries) == 9
    assert unpack(here, packed).brought.changes == (), "what is here already changes nothing"


def test_a_job_of_which_two_versions_are_about_says_what_to_do(here: Store, there: Store, tmp_path: Path) -> None:
    job = a_job(there)
    pack(there, job.job, tmp_path / "true.zip")

    def altered(files: dict[str, bytes]) -> None:
        files["entries.jsonl"] = files["entries.jsonl"].replace(b'"value":30.0', b'"value":99.0')
        without_signatures(files)

    unpack(here, rewritten(tmp_path / "true.zip", altered))
    with pytest.raises(
        BadInput, match=r"says something else: nothing was saved; one of the two was altered: `journal sh"
    ):
        unpack(here, tmp_path / "true.zip")
    here.erase(job.job)
    assert len(unpack(here, tmp_path / "true.zip").entries) == 3


def without_signatures(files: dict[str, bytes]) -> None:
    del files["signatures.jsonl"]
    honest(files)


def test_what_another_journal_signed_too_is_said_and_the_signature_that_came_first_stands(
    here: Store, there: Store, tmp_path: Path
) -> None:
    job, true, false = a_job(there), tmp_path / "true.zip", tmp_path / "false.zip"
    pack(there, job.job, true)
    with Store.open(tmp_path / "liar") as liar:
        liar.append(*job.entries)  # the same entries, as if they were its own
        pack(liar, job.job, false)
        liars = name_of(journal_key(liar.folder).public)
    theirs = name_of(journal_key(there.folder).public)
    assert unpack(here, true).brought.otherwise == ()
    assert unpack(here, true).brought.otherwise == ()
    told = unpack(here, false)
    assert told.brought.otherwise == (
        f"3 entries of Ada are here signed by {theirs} and stay so; in the pack signed by {liars}: ask who made them",
    )
    assert told.entries == () and told.brought.changes == ()
    assert {name_of(by.key) for by in here.signatures(job.job).values()} == {theirs}
    assert unpack(there, false).brought.otherwise == (
        f"3 entries of Ada are here signed by this journal and stay so; in the pack signed by {liars}: "
        "ask who made them",
    )
    with Store.open(tmp_path / "fresh") as fresh:
        bare = rewritten(true, without_signatures)
        unpack(fresh, bare)
        assert unpack(fresh, true).brought.otherwise == (
            f"3 entries of Ada are here not signed and stay so; in the pack signed by {theirs}: ask who made them",
        )
        assert unpack(fresh, bare).brought.otherwise == (), "a pack without signatures says nothing"


def test_what_only_adds_and_a_job_that_is_new_change_nothing(here: Store, there: Store, tmp_path: Path) -> None:
    job, packed = grown_elsewhere(here, there, tmp_path)
    with Store.open(tmp_path / "new") as new:
        assert unpack(new, packed).brought.changes == ()
    added = job.say(Note("more"), seconds=3600)
    there.append(added)
    with Store.open(tmp_path / "new") as new:
        pack(there, job.job, tmp_path / "more.zip")
        assert unpack(new, tmp_path / "more.zip").brought.changes == ()


def run(journal: Path, *arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(group, ["--journal", str(journal), *arguments], input=typed, standalone_mode=False)


def test_the_command_shows_what_a_pack_changes_and_asks(here: Store, there: Store, tmp_path: Path) -> None:
    job, packed = grown_elsewhere(here, there, tmp_path)
    for typed in ("n\n", ""):
        asked = run(here.folder, "unpack", str(packed), typed=typed)
        assert isinstance(asked.exception, click.Abort) and "3 entries of Ada are withdrawn" in asked.output
        assert here.entries(job.job) == job.entries
    taken = run(here.folder, "unpack", str(packed), typed="y\n")
    assert taken.exit_code == 0 and "9 new entries" in taken.output
    assert [cut.cylinder for cut in here.job(job.job).runs[0].cuts] == [4, 5, 6, 1]


def test_the_command_can_be_told_beforehand(here: Store, there: Store, tmp_path: Path) -> None:
    job, packed = grown_elsewhere(here, there, tmp_path)
    taken = run(here.folder, "unpack", "--yes", str(packed))
    assert taken.exit_code == 0 and "1 entry of Ada is corrected" in taken.output
    assert len(here.entries(job.job)) > len(job.entries)


def closed_jobs(store: Store, folder: Path, count: int) -> list[Path]:
    """So many closed jobs, packed."""
    paths = []
    for number in range(count):
        job = opened()
        job.say(JobClosed("injector", 3, f"worn {number}"))
        store.append(*job.entries)
        paths.append(folder / f"{number}.zip")
        pack(store, job.job, paths[-1])
    return paths


def taught(store: Store) -> int:
    """How many closed jobs teach."""
    history = ClosedJobs().history(store)
    return 0 if history is None else history.jobs


def test_closed_jobs_that_come_by_a_pack_teach_only_once_they_are_let(
    here: Store, there: Store, tmp_path: Path
) -> None:
    paths = [str(path) for path in closed_jobs(there, tmp_path, 3)]
    told = run(here.folder, "unpack", *paths)
    assert "3 closed jobs do not teach here; to let them, unpack again with --teach" in told.output
    teaching = {line.id for line in here.jobs(teaching=True)}
    assert teaching == set() and len(here.jobs()) == 3 and taught(here) == 0
    told = run(here.folder, "unpack", "--teach", *paths)
    assert "3 closed jobs may teach from now on" in told.output
    assert {line.id for line in here.jobs(teaching=True)} == {line.id for line in here.jobs()}
    assert "closed job" not in run(here.folder, "unpack", *paths).output
    assert taught(here) == taught(there)


def test_a_closing_that_comes_by_a_pack_takes_a_job_of_ours_out_of_what_teaches(
    here: Store, there: Store, tmp_path: Path
) -> None:
    job = opened()
    here.append(*job.entries)
    pack(here, job.job, tmp_path / "out.zip")
    unpack(there, tmp_path / "out.zip")
    there.append(job.say(JobClosed("unknown"), technician="Mallory"))
    pack(there, job.job, tmp_path / "back.zip")
    unpack(here, tmp_path / "back.zip")
    assert not here.teaches(job.job)
    here.append(job.say(JobReopened()), job.say(JobClosed("injector", 3)))
    assert here.teaches(job.job), "closed here, by who knows"


def test_show_says_who_signed(here: Store, there: Store, tmp_path: Path) -> None:
    job, packed = grown_elsewhere(here, there, tmp_path)
    unpack(here, packed)
    name = name_of(journal_key(there.folder).public)
    shown = run(here.folder, "show").output
    assert "8 entries of Ada: signed by this journal" in shown
    assert f"9 entries of Mallory: signed by {name}" in shown
    by = json.loads(run(here.folder, "show", "--json").output)["signed_by"]
    assert by[job.entries[0].id] == name_of(journal_key(here.folder).public)
    late = Entry(new_id(job.at), job.job, job.at, Note("x"), technician="Cy")
    here.merge([late], carried=True)
    assert "1 entry of Cy: not signed" in run(here.folder, "show").output


def test_a_large_file_to_read_in_a_pack_is_looked_through_and_not_held(here: Store, tmp_path: Path) -> None:
    job = opened()
    here.append(*job.entries)
    pack(here, job.job, tmp_path / "large.zip", {"readme.txt": bytes(200_000_000)})
    with Store.open(tmp_path / "other") as other:
        tracemalloc.start()
        unpack(other, tmp_path / "large.zip")
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert other.entries(job.job) == job.entries
    assert most < 10_000_000
    altered = {"readme.txt": bytes(199_999_999) + b"x"}
    with pytest.raises(BadInput, match=r"was changed or damaged at readme\.txt"):
        unpack(here, rewritten(tmp_path / "large.zip", lambda files: files.update(altered)))


def test_what_no_journal_signed_is_asked_about_before_it_is_added_to_a_job_that_is_here(
    here: Store, there: Store, tmp_path: Path
) -> None:
    job = a_job(there)
    pack(there, job.job, tmp_path / "first.zip")
    unpack(here, tmp_path / "first.zip")
    there.append(job.say(Cut(4, 38.0)))
    pack(there, job.job, tmp_path / "more.zip")
    here.close()
    plain = run(here.folder, "unpack", str(tmp_path / "more.zip"), typed="n\n")
    assert plain.exit_code == 0, "a journal vouches for it, and it changes nothing"
    there.append(job.say(Cut(5, 39.0)))
    pack(there, job.job, tmp_path / "last.zip")
    changed = rewritten(tmp_path / "last.zip", without_signatures)
    refused = run(here.folder, "unpack", str(changed), typed="n\n")
    assert refused.exit_code == 1 and "1 entry of Ada is added that no journal signed" in refused.output
    assert run(here.folder, "unpack", str(changed), typed="y\n").exit_code == 0
    with Store.open(here.folder) as again:
        assert again.job(job.job).entries[-1].body == Cut(5, 39.0)


FORGED = "Ash\n  9 entries of Ash: signed by this journal"


def test_a_name_that_a_pack_brings_writes_no_line_of_its_own(here: Store, there: Store, tmp_path: Path) -> None:
    job = opened(technician=FORGED)
    there.append(*job.entries)
    pack(there, job.job, tmp_path / "job.zip")
    here.close()
    for arguments in (["unpack", str(tmp_path / "job.zip")], ["show"], ["jobs"], ["write-up"]):
        done = run(here.folder, *arguments)
        assert done.exit_code == 0, done.output
        assert not any(line.strip().startswith("9 entries of") for line in done.output.splitlines()), arguments


def test_a_mark_that_the_clock_was_set_back_is_said_to_be_one() -> None:
    job = Scribe(technician="")
    job.open()
    job.say(ClockSetBack((job.entries[0].id,)))
    assert signers(job.entries, {}, b"") == [
        "1 entry of nobody named: not signed",
        "1 entry of the journal itself, that the clock was set back: not signed",
    ]

"""Many clips: the same reports as one by one, one broken clip stops nothing, a second run hears nothing again."""

import csv
import json
import shutil
from dataclasses import replace

import pyarrow.parquet as pq
import pytest

from listen.batch import read_plan, run_batch
from listen.batch.engines import Local
from listen.batch.plan import Context, Item
from listen.batch.store import Results, whole_file
from listen.batch.tables import Row, as_values, write_tables
from listen.batch.task import FAILED, HEARD, UNUSABLE, Keep, Outcome, Task
from listen.batch.work import do
from listen.bench.machine import load_machine
from listen.errors import BadParameter
from listen.library import open_library
from listen.pipeline import hear, model
from listen.report.to_dict import to_dict
from listen.types import StoryMark

CONTEXT = Context(load_machine("demo-two-boiler"), (StoryMark(1.0, "brew_on"),), {"boiler": 1.1}, mains_hz=50)


@pytest.fixture(scope="module")
def plan(folder):
    return read_plan(folder, common=CONTEXT, machine_name="demo-two-boiler")


@pytest.fixture(scope="module")
def done(plan, tmp_path_factory):
    return run_batch(plan, tmp_path_factory.mktemp("out"), engine=Local(2))


def test_reports_are_those_of_hear(done, plan):
    assert [row.item for row in done.rows] == list(plan)
    for row in done.rows[:3]:
        alone = to_dict(hear(row.item.path, **CONTEXT.arguments()))
        assert json.loads(row.outcome.report) == alone


def test_a_broken_clip_gets_its_sentence_and_stops_nothing(done):
    assert (done.count(HEARD), done.count(UNUSABLE), done.count(FAILED)) == (7, 1, 0)
    broken = next(row for row in done.rows if row.item.shown == "broken.m4a")
    assert broken.outcome.sentence.startswith("broken.m4a: this is a text file, not a recording")


def test_a_second_run_hears_nothing_and_says_the_same(done, plan):
    def refuse(*_):
        raise AssertionError("nothing is left to do")

    class Idle(Local):
        def executor(self, jobs=None):
            pool = super().executor(jobs)
            pool.submit = refuse
            return pool

    again = run_batch(plan, done.csv.parent, engine=Idle(1))
    assert again.n_before == 7 and [r.outcome for r in again.rows] == [r.outcome for r in done.rows]


def test_another_story_is_another_result(done, plan, tmp_path):
    other = [replace(plan[0], context=replace(CONTEXT, said="it smells of burning"))]
    shutil.copytree(done.csv.parent, tmp_path / "out")
    again = run_batch(other, tmp_path / "out", engine=Local(1))
    assert again.n_before == 0 and again.rows[0].level == "stop"


def test_both_tables_hold_every_line(done, plan):
    with done.csv.open(encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    columns = pq.read_table(done.parquet).to_pydict()
    assert [line["path"] for line in lines] == [i.shown for i in plan] == columns["path"]
    assert [line["verdict"] or None for line in lines] == columns["verdict"]
    assert lines[0]["did"] == "0:01.00 brew_on" and lines[0]["gauge"] == "boiler=1.1"
    for row, report in zip(done.rows, columns["report"], strict=True):
        assert report == row.outcome.report


def test_no_cell_runs_as_a_formula(tmp_path):
    item = Item(tmp_path / "=1+1.m4a", "=1+1.m4a", Context(said="@SUM(A1)"), "+machine")
    rows = [Row(item, Outcome(UNUSABLE, sentence="-2: no"), "")]
    path, parquet = write_tables(tmp_path, rows)
    with path.open(encoding="utf-8") as file:
        line = next(csv.DictReader(file))
    assert (line["path"], line["said"], line["machine"], line["sentence"]) == (
        "'=1+1.m4a", "'@SUM(A1)", "'+machine", "'-2: no",
    )  # fmt: skip
    # Parquet is data, no spreadsheet: it keeps what was said.
    assert pq.read_table(parquet).to_pydict()["said"] == ["@SUM(A1)"]


def test_a_file_that_is_not_there_is_a_line_of_the_table(tmp_path):
    done = run_batch([Item(tmp_path / "gone.m4a", "sub/gone.m4a")], tmp_path / "out", engine=Local(1))
    assert (
        done.rows[0].outcome.sentence == "sub/gone.m4a: there is no such file; check the name and the folder."
    )
    assert as_values(done.rows[0])["status"] == UNUSABLE and done.rows[0].identity == ""


def test_a_half_written_result_is_no_result(tmp_path):
    results = Results(tmp_path)
    results.put("ab" * 32, Outcome(UNUSABLE, sentence="x: no"))
    path = next(tmp_path.rglob("*.json"))
    whole = path.read_text()
    for text in (whole[:-20], "", "{}", whole.replace("unusable", "heard"), "[]"):
        path.write_text(text)
        assert results.get("ab" * 32) is None
    path.write_text(whole)
    assert results.get("ab" * 32) == Outcome(UNUSABLE, sentence="x: no")


def test_an_error_while_writing_leaves_what_was_there(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("before")
    with pytest.raises(ValueError, match="midway"), whole_file(path) as part:
        part.write_text("half")
        raise ValueError("midway")
    assert path.read_text() == "before" and [p.name for p in tmp_path.iterdir()] == ["a.csv"]


def test_a_folder_that_cannot_be_written_is_a_sentence(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(BadParameter, match=r"folder of results .* cannot be written"):
        Results(tmp_path / "out")


def test_our_own_failures_are_not_kept(tmp_path, folder):
    item = Item(folder / "0.m4a", "0.m4a", Context(gauges={"none such": 1.0}))
    task = Task(str(item.path), None, "0.m4a", "i", "s", replace(item.context, pump=5), None, "m")
    assert do(task).status in (UNUSABLE, FAILED)
    assert not Outcome(FAILED, sentence="x").lasting and Outcome(UNUSABLE, sentence="x").lasting


def test_a_worker_with_another_model_is_not_believed(folder):
    task = Task(str(folder / "0.m4a"), None, "0.m4a", "i", "s", Context(), None, "another")
    outcome = do(task)
    assert outcome.status == FAILED and "a worker has another model" in outcome.sentence
    changed = do(replace(task, model_sha256=model().info.sha256))
    assert changed.status == FAILED and "changed while it was read" in changed.sentence


def test_what_is_heard_is_kept_once(folder, tmp_path):
    home = str(tmp_path / "library")
    with open_library(home) as library:
        library.machines.add("Bar left", id="bar-left", profile=load_machine("demo-two-boiler"), by="ada")
    plan = read_plan(folder, common=CONTEXT, machine_name="bar-left")[:2]
    for _ in range(2):
        done = run_batch(plan, tmp_path / "out", engine=Local(1), keep=Keep(home, None, "ada"))
        assert done.count(HEARD) == 2 and not any(row.outcome.not_kept for row in done.rows)
    with open_library(home) as library:
        assert {clip.machine for clip in library.clips()} == {"bar-left"} and len(library.clips()) == 2
        assert [len(library.opinions(clip.sha256)) for clip in library.clips()] == [1, 1]
    with open_library(home) as library:
        library.delete(done.rows[0].outcome.report and json.loads(done.rows[0].outcome.report)["clip"]["sha256"],
                       by="ada", why="asked")  # fmt: skip
    gone = run_batch(plan[:1], tmp_path / "out", engine=Local(1), keep=Keep(home, None, "ada"))
    assert "deleted on request" in gone.rows[0].outcome.not_kept and gone.rows[0].outcome.status == HEARD

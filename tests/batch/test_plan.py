"""What a folder or a table says is to be heard, and what it may not say."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.batch.plan import COLUMNS, Context, identity_of, read_plan
from listen.bench.machine import load_machine
from listen.errors import BadParameter, ListenError
from listen.types import StoryMark


def table(tmp_path, text):
    path = tmp_path / "stories.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_folder_is_read_wholly_and_in_order(folder):
    shown = [item.shown for item in read_plan(folder)]
    assert shown == ["0.m4a", "1.m4a", "2.m4a", "3.m4a", "4.m4a", "5.m4a", "broken.m4a", "sub/twice.m4a"]


def test_results_within_the_folder_are_not_heard_again(folder):
    assert "sub/twice.m4a" not in [i.shown for i in read_plan(folder, leave_out=folder / "sub")]


def test_a_line_of_a_table_says_what_the_options_of_hear_say(tmp_path):
    text = (
        "path,machine,did,gauge,said,answer,mains,pump\n"
        'a.m4a,demo-two-boiler,0:03 brew_on; 0:28.5 brew_off,boiler=1.1,"smells, it says",tray_wet=no,60,rotary\n'
    )
    plan = read_plan(table(tmp_path, text))
    assert plan[0].path == tmp_path / "a.m4a" and plan[0].machine_name == "demo-two-boiler"
    assert plan[0].context == Context(
        load_machine("demo-two-boiler"), (StoryMark(3.0, "brew_on"), StoryMark(28.5, "brew_off")), {"boiler": 1.1},
        "smells, it says", {"tray_wet": "no"}, 60, "rotary",
    )  # fmt: skip


def test_a_line_overrides_what_holds_for_all(tmp_path):
    common = Context(machine=load_machine("demo-two-boiler"), mains_hz=50)
    plan = read_plan(
        table(tmp_path, "path,mains\na.m4a,60\nb.m4a,\n"), common=common, machine_name="demo-two-boiler"
    )
    assert [item.context.mains_hz for item in plan] == [60, 50]
    assert {item.machine_name for item in plan} == {"demo-two-boiler"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("path\n../secret.m4a\n", "line 2: '../secret.m4a' is no place below"),
        ("path\n/etc/hostname\n", "is no place below"),
        ("path,did\na.m4a,0:99 nothing\n", "line 2: 'nothing' is neither"),
        ("path,gauge\na.m4a,boiler=1; boiler=2\n", "names one thing twice"),
        ("path,mains\na.m4a,55\n", "Mains is 50 or 60 Hz, not '55'"),
        ("path,machine\na.m4a,never-heard-of\n", "There is no machine profile"),
        ("path,pump\na.m4a,steam\n", "A pump is one of"),
        ("file\na.m4a\n", "there is no column 'path'"),
        ("path,colour\na.m4a,red\n", "column 'colour' is not known"),
        ("path\n", "lists no recording"),
    ],
)
def test_a_wrong_line_is_told_with_its_number(tmp_path, text, says):
    with pytest.raises(BadParameter, match=says.replace("(", r"\(")):
        read_plan(table(tmp_path, text))


def test_nothing_to_hear_is_told(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(BadParameter, match="There is no recording in"):
        read_plan(tmp_path / "empty")
    with pytest.raises(BadParameter, match="There is no folder or table"):
        read_plan(tmp_path / "absent")


@given(st.lists(st.lists(st.text(max_size=20), min_size=1, max_size=8), max_size=6))
def test_any_table_is_read_or_refused_in_a_sentence(tmp_path_factory, cells):
    place = tmp_path_factory.mktemp("any")
    lines = [COLUMNS[: len(cells[0])] if cells else COLUMNS, *cells]
    text = "\n".join(",".join(line) for line in lines)
    path = place / "any.csv"
    path.write_text(text, encoding="utf-8", errors="surrogatepass")
    try:
        plan = read_plan(path)
    except ListenError as error:
        assert "\n" not in str(error)
    else:
        assert all(place in item.path.parents for item in plan)


def test_a_result_is_named_by_all_it_depends_on():
    machine = load_machine("demo-two-boiler")
    told = Context(
        machine, (StoryMark(1.0, "brew_on"),), {"boiler": 1.0, "line": 3.0}, "hot", {"tray_wet": "no"}, 50
    )
    names = {
        identity_of("a", "m", told),
        identity_of("b", "m", told),
        identity_of("a", "n", told),
        identity_of("a", "m", Context()),
        identity_of("a", "m", Context(machine)),
        identity_of("a", "m", Context(mains_hz=50)),
        identity_of("a", "m", Context(said="hot")),
    }
    assert len(names) == 7
    # The order in which readings were given is no part of it.
    again = Context(machine, told.marks, {"line": 3.0, "boiler": 1.0}, "hot", {"tray_wet": "no"}, 50)
    assert identity_of("a", "m", again) == identity_of("a", "m", told)

"""Verdicts on the second generator: what is wrong, what is left open, and what stops."""

from tests.measure.second_verdicts import judged, print_families, wrong


def made(family, truth, verdict, carries=True, stops=()):
    return {"family": family, "truth": truth, "verdict": verdict, "carries": carries, "stops": list(stops)}


def test_what_is_left_open_is_never_wrong():
    assert not wrong(made("normal_brew", "normal", "cannot_tell"))
    assert wrong(made("normal_brew", "normal", "abnormal")) and wrong(made("no_burst", "abnormal", "normal"))


def test_healthy_machines_and_faults_are_counted_apart(capsys):
    rows = [made("normal_brew", "normal", "normal")] * 3
    rows += [made("normal_brew", "normal", "abnormal", stops=("no_burst",))]
    rows += [made("no_burst", "abnormal", "cannot_tell", carries=False)]
    print_families(rows)
    said = {line[:20].strip(): line for line in capsys.readouterr().out.splitlines()}
    assert "wrong 1/4" in said["normal_brew"] and "stops 1/4" in said["normal_brew"]
    assert "3/4" in said["all that is normal"] and "wrong 0/1" in said["all that is abnormal"]


def test_a_scene_is_rendered_heard_and_told():
    result = judged(1_600_001, "normal_fill")
    assert result["truth"] == "normal" and result["heard"] and result["labels"]
    assert result["verdict"] in ("normal", "abnormal", "cannot_tell")

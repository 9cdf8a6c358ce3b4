"""A clip beside the room without its machine."""

from listen.report.room import also_in_room


def event(id, sound, **measures):
    return {"id": id, "sound": sound, "measures": measures}


def report(*events):
    return {"events": list(events)}


def test_the_same_line_is_said_and_another_is_not():
    clip = report(event("e1", "mains_hum", line_hz=100.0), event("e2", "motor_run", shaft_hz=24.2))
    room = report(event("r1", "mains_hum", line_hz=100.1), event("r2", "motor_run", shaft_hz=29.0))
    said = also_in_room(clip, room)
    assert set(said) == {"e1"}
    assert "100.1 Hz" in said["e1"]


def test_a_sound_that_the_room_does_not_have_is_not_excused():
    assert also_in_room(report(event("e1", "hiss")), report(event("r1", "fan"))) == {}
    assert also_in_room(report(event("e1", "click")), report(event("r1", "click"))) == {}
    assert set(also_in_room(report(event("e1", "hiss")), report(event("r1", "hiss")))) == {"e1"}

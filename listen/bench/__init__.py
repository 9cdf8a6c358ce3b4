"""The bench: what should be heard now, what is wrong, what to check next.

The bench never touches audio. It judges lists of events by the machine, the
story and what a person reads and says. All it knows is data
(`listen/knowledge`); the code holds only facts and order.

Public calls
------------
``judge(events=..., quality=..., ...) -> Judgement``
    The judgement of a clip. `answers` takes ids of first-minute questions and of
    checks (`Check.id`), each with "yes", "no" or "unknown".
``answer(result, {"check_id": "yes"}, machine=None) -> same type``
    A `Report` or `Judgement` after answers to its checks: causes ranked anew
    (`Cause.standing`, `.speaks_for`, `.speaks_against`, `.why_not`), the next check
    first, answered checks in `Finding.answered`, and the level raised where an answer
    calls for a stop. No answer lowers a level. May be called again with more answers.
``next_check(result) -> Check | None``
    The one check to do now.
``summary_lines(result) -> five lines`` for a technician;
``customer_message(result, long=False) -> str`` plain, no blame, what to do and not to do now;
``read_aloud(result) -> str`` the question to read aloud on the telephone;
``to_bring(result) -> Bring`` with `.parts` and `.tools`, most likely first.
``learn_timings(results)`` a machine's own ranges from its known-good clips, for ``[timings]`` of its profile;
``first_minute_questions(machine=None)``, ``parse_did``, ``parse_gauge``, ``parse_answer``.
"""

from listen.bench.answers import answer, next_check
from listen.bench.inputs import parse_answer, parse_did, parse_gauge
from listen.bench.judge import judge
from listen.bench.judgement import Judgement
from listen.bench.knowledge import load_knowledge
from listen.bench.machine import Machine, bundled_machines, load_machine, unknown_machine
from listen.bench.messages import Bring, customer_message, read_aloud, summary_lines, to_bring
from listen.bench.safety import Question, first_minute_questions
from listen.bench.timings import learn_timings

__all__ = [
    "Bring",
    "Judgement",
    "Machine",
    "Question",
    "answer",
    "bundled_machines",
    "customer_message",
    "first_minute_questions",
    "judge",
    "learn_timings",
    "load_knowledge",
    "load_machine",
    "next_check",
    "parse_answer",
    "parse_did",
    "parse_gauge",
    "read_aloud",
    "summary_lines",
    "to_bring",
    "unknown_machine",
]

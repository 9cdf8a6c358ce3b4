"""The bench: what should be heard now, what is wrong, what to check next.

The bench never touches audio. It judges lists of events by the machine, the
story and what a person reads and says. All it knows is data
(`listen/knowledge`); the code holds only facts and order.
"""

from listen.bench.inputs import parse_did, parse_gauge
from listen.bench.judge import Judgement, judge
from listen.bench.knowledge import load_knowledge
from listen.bench.machine import Machine, bundled_machines, load_machine, unknown_machine
from listen.bench.safety import Question, first_minute_questions

__all__ = [
    "Judgement",
    "Machine",
    "Question",
    "bundled_machines",
    "first_minute_questions",
    "judge",
    "load_knowledge",
    "load_machine",
    "parse_did",
    "parse_gauge",
    "unknown_machine",
]

"""The command `listen`: one file a verb, each loaded only when it is called.

Exit codes: 0 every clip was heard (whatever the verdicts); 2 wrong usage, or at
least one clip could not be used; 1 our own failure.
"""

import os

# The matrices are small: threads of the linear algebra library only wait for each other,
# the more so on a busy machine. Set before numpy is loaded; a person's own setting stands.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from listen.cli.group import VerbGroup  # noqa: E402

main = VerbGroup(
    name="listen",
    help="Hear recordings of espresso machines: what is normal, what is not, what to check next.",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    verbs={
        "hear": ("listen.cli.hear", "Hear clips and say what is normal, what is not, and what to check."),
        "batch": (
            "listen.cli.batch",
            "Hear a folder or a table of clips on all cores; goes on after a stop.",
        ),
        "demo": ("listen.cli.demo", "Hear three synthesised clips of a demo machine, then open the page."),
        "page": ("listen.cli.page", "Open the page for phone and bench in the browser."),
        "intake": ("listen.cli.intake", "Make links for customers and look at what they sent."),
        "library": (
            "listen.cli.library",
            "Keep the shop's recordings, labels and outcomes; learn from them.",
        ),
        "synth": ("listen.cli.synth", "Synthesise scenes of machines with their true labels."),
        "train": ("listen.cli.train", "Train the small classifier again from its recipe."),
        "score": ("listen.cli.score", "Score the ear and the bench on clips whose truth is known."),
        "doctor": (
            "listen.cli.doctor",
            "Check the installation, the library, the page's certificate and the disk.",
        ),
        "protocol": ("listen.cli.protocol", "Say what to record from your own machines in a first hour."),
    },
)

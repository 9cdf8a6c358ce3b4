"""Train and score: scikit-learn lives here, never on the path of `hear`."""

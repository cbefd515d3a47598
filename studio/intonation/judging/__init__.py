"""From a measurement and a policy to verdicts, runs, marks and the words for them."""

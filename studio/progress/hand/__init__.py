"""One cause for weeks of deviations: a model of the left hand, and the drills that treat it."""

"""How a figure changed over weeks of practice, and how sure that is. Pure: numpy and scipy.

Notes lie within clips and clips within weeks, so notes are no independent tries: whoever had a
good week was good in all of its notes. What counts as independent is the week, the highest level
(Cameron & Miller 2015, "A practitioner's guide to cluster-robust inference", Journal of Human
Resources 50(2), 317-372; Field & Welsh 2007, "Bootstrapping clustered data", Journal of the Royal
Statistical Society B 69(3), 369-390: resampled is at the highest level).
"""

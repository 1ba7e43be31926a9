"""The watch over a job: each page read once, measured without a target, judged as the job goes on.

A page becomes `features.PageFeatures` (`measure_page`); judging is plain functions on these
(`judge.advance`), so that a job is judged alike whether its pages come from files or from the
watch's own journal; what is found are events (`scanqa.model.watched`).
"""

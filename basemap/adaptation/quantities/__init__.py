"""The registry of inputs: every quantity of a job once, with its range, default, spread and words.

`registry.py` puts together what stands here by section of the job file. Whoever reads a job file, asks for an input,
puts in a default, draws the band on the mixture or lets a cell be changed, takes it from here and has no numbers of
its own.
"""

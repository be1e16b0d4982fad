"""The registry of inputs: every quantity of a job once, with its range, default, spread and words.

`registry.py` puts together the other modules, one for each section of the job file. Code that reads a job file, asks
for an input, assumes a default, draws the band on the mixture or lets a cell be changed takes these numbers from here
and has none of its own.
"""

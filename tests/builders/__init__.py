"""Builders of jobs, one for each kind of job; a test changes the part that it is about.

Read from text and tables, as a user writes them:

* ``files``: the job files in ``tests/jobs``, with lines replaced
* ``with_settings``: volumetric efficiency between two engines, further sections appended
* ``pulse_width``: pulse widths over pressure between engines of the same parts
* ``over_throttle``: pulse widths over throttle opening, between simulated engines
* ``round_numbers``: a job whose further tables can be worked out on paper
* ``sound``: random jobs in which nothing is wrong, on the engines of ``engines``

Made in Python, without a file:

* ``computed``: a map on the engine that it was made for, one thing changed at a time, for the rules
* ``without_files``: any size and any kind of table, for the reports

Three more belong to one set of tests each: ``tests/workbook/variants.py``, the dangerous jobs of
``tests/verdicts/jobs.py``, and the random problems of ``tests/independent/strategies.py``.
"""

"""Builders of jobs, one of each kind; a test takes one and changes what it is about.

As a user writes them, from text and tables, through the job reader:

* ``files``: the job files in ``tests/jobs``, with lines replaced
* ``with_settings``: volumetric efficiency between two engines, further sections appended
* ``pulse_width``: pulse widths over pressure between engines of the same parts
* ``over_throttle``: pulse widths over throttle opening, between simulated engines
* ``round_numbers``: a job for further tables whose cells can be worked out on paper
* ``sound``: random jobs in which nothing is wrong, on the engines of ``engines``

In Python, without a file:

* ``computed``: a map on the engine that it was made for, one thing changed at a time, for the rules
* ``without_files``: any size and any kind of table, for the reports

Three more belong to one room each: the workbook's in ``tests/workbook/variants.py``, the dangerous ones in
``tests/verdicts/jobs.py``, the independent calculation's random problems in ``tests/independent/strategies.py``.
"""

"""What holds for every test."""

from hypothesis import settings

# A test says what is right, not how fast the machine is: hypothesis' own limit of 200 ms an example fails on a busy one.
settings.register_profile("basemap", deadline=None)
settings.load_profile("basemap")

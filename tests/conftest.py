"""What holds for every test."""

from hypothesis import settings

# A test says what is right, not how fast the machine is: the usual 200 ms an example fail on a busy one.
settings.register_profile("basemap", deadline=None)
settings.load_profile("basemap")

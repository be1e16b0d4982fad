"""A simulated engine, controller and drive, against which logs are learnt from. Imports nothing of basemap."""

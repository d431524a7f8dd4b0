"""What closed jobs teach: known-good readings, limits, weights of faults, minutes.

Nothing here is a second record: `closed.closed_job` reads a job as its events left it, and all else
follows from a list of those. A job that is opened again, or whose machine comes back, drops out by
itself.
"""

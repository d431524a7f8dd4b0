"""Where things are kept: the log of events, pictures and files named by their digest."""

"""From evidence to the next step: read `assess` first."""

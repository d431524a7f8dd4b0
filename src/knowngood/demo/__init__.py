"""An invented shop with two invented mowers, to see the whole job played. Nothing here is real."""

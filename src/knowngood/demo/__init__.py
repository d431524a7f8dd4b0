"""An invented shop and three jobs of it, to see the whole job played. Nothing here is real."""

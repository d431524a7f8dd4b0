"""What a number is: units, meter sheets, typed text, readings and their uncertainty."""

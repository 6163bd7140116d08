"""Calendar dates: durations, windows, working days, partly known dates and time zones."""

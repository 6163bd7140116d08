"""Visual acuity: reading what was written, converting it, comparing it, and summing it up honestly."""

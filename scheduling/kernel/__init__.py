"""The pure kernel: values in, values out. No Django, no clock, no settings."""

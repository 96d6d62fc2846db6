"""The pages of messages and reminders, by family."""

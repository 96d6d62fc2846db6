"""The site."""

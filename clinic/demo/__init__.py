"""The invented programme of `manage.py demo`: its people, their story, and its schedule."""

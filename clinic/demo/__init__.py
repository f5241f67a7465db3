"""The invented programme of `manage.py demo`: its people, what happens to them, and its schedule."""

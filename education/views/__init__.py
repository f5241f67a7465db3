"""The patient's pages: what a personal link opens."""

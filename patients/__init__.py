"""WHO has WHICH operation WHEN. Knows no module and no quiz."""

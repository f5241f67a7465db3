"""Make a backup of everything that the programme has on record, and put one back."""

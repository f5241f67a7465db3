"""WHAT is to be learned, WHAT was answered, and is the patient cleared."""

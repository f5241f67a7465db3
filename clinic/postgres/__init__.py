"""The database engine of production: Django's for PostgreSQL, and a pool that heals at once."""

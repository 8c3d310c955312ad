"""The engine: numbers and paths in, frozen values out. No Django, no Celery, no database."""

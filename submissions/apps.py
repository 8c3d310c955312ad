"""The Django app that holds the whole job."""

from django.apps import AppConfig


class SubmissionsConfig(AppConfig):
    name = "submissions"
    verbose_name = "Submissions"

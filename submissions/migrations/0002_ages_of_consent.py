"""Ages from which a person agrees alone to the use of their data, as known in November 2026."""

from datetime import date

from django.db import migrations

GDPR = "GDPR Art. 8 (16 by default, member states from 13), national choice after a law firm's tracker"
AGES = (
    ("AT", 14, date(2018, 5, 25), GDPR),
    ("BE", 13, date(2018, 5, 25), GDPR),
    ("CZ", 15, date(2018, 5, 25), GDPR),
    ("DE", 16, date(2018, 5, 25), GDPR),
    ("FI", 13, date(2018, 5, 25), GDPR),
    ("FR", 15, date(2018, 5, 25), GDPR),
    ("HU", 16, date(2018, 5, 25), GDPR),
    ("IE", 16, date(2018, 5, 25), GDPR),
    ("IT", 14, date(2018, 5, 25), GDPR),
    ("US", 13, date(2000, 4, 21), "COPPA, 16 CFR 312: under 13 a parent consents"),
    ("", 18, date(2000, 1, 1), "nothing better is known here: the most careful age"),
)


def fill(apps, schema_editor) -> None:
    table = apps.get_model("submissions", "AgeOfConsent")
    table.objects.bulk_create(table(country=c, age=a, valid_from=d, source=s) for c, a, d, s in AGES)


def empty(apps, schema_editor) -> None:
    apps.get_model("submissions", "AgeOfConsent").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("submissions", "0001_initial")]
    operations = [migrations.RunPython(fill, empty)]

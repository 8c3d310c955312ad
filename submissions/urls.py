"""Addresses of the app. Each room's addresses stand in one list; names are the words of the handbook."""

from django.urls import path

from .views import health

shared = [
    path("healthz", health.healthz, name="healthz"),
]
# Names that templates and mail rely on: home, sign-in, sign-out; call, part, material, enter, my-page, my-take,
# send-take, guardian, open-link, renew-link, stop-mail, my-data, withdraw; uploads, upload; board, decide; bench.
urlpatterns = shared

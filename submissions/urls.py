"""Addresses of the app. Each room's addresses stand in one list; names are the words of the handbook."""

from django.urls import path

from .views import files, health, uploads

shared = [
    path("healthz", health.healthz, name="healthz"),
    path("uploads/", uploads.uploads, name="uploads"),
    path("uploads/<str:public_id>", uploads.upload, name="upload"),
    path("call/<slug:slug>/parts/<int:pk>/files/<str:name>", files.material, name="material"),
    path("takes/<str:public_id>/video", files.take_video, name="take-video"),
    path("takes/<str:public_id>/files/<str:name>", files.take_file, name="take-file"),
    path("desk/<slug:slug>/exports/<str:public_id>/<str:name>", files.export_file, name="export-file"),
]
# Names that templates and mail rely on: home, sign-in, sign-out; call, part, enter, my-page, my-take,
# send-take, guardian, open-link, renew-link, stop-mail, my-data, withdraw; board, decide; bench.
urlpatterns = shared

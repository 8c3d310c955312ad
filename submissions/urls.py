"""Addresses of the app. Each room's addresses stand in one list; names are the words of the handbook."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import path

from .forms import SignInForm
from .views import components, editor, files, health, organizer, participant, reading, rights, uploads

shared = [
    path("healthz", health.healthz, name="healthz"),
    path("uploads/", uploads.uploads, name="uploads"),
    path("uploads/<str:public_id>", uploads.upload, name="upload"),
    path("call/<slug:slug>/parts/<int:pk>/files/<str:name>", files.material, name="material"),
    path("takes/<str:public_id>/video", files.take_video, name="take-video"),
    path("takes/<str:public_id>/files/<str:name>", files.take_file, name="take-file"),
    path("desk/<slug:slug>/exports/<str:public_id>/<str:name>", files.export_file, name="export-file"),
]
players = [
    path("", participant.home, name="home"),
    path("care/", participant.care, name="care"),
    path("call/<slug:slug>/", participant.call, name="call"),
    path("call/<slug:slug>/deadline.ics", participant.calendar_file, name="calendar"),
    path("call/<slug:slug>/enter/", participant.enter, name="enter"),
    path("call/<slug:slug>/new-link/", participant.renew_link, name="renew-link"),
    path("call/<slug:slug>/parts/<int:pk>/", participant.part, name="part"),
    path("call/<slug:slug>/parts/<int:pk>/practice/", participant.practice, name="practice"),
    path("open/<str:secret>/", participant.open_link, name="open-link"),
    path("stop/<str:secret>/", rights.stop_mail, name="stop-mail"),
    path("mine/<str:public_id>/", participant.my_page, name="my-page"),
    path("mine/<str:public_id>/parts/", participant.my_parts, name="my-parts"),
    path("mine/<str:public_id>/agree/", participant.agree_again, name="agree-again"),
    path("mine/<str:public_id>/send/<int:pk>/", participant.send_take, name="send-take"),
    path("mine/<str:public_id>/film/<int:pk>/", participant.record, name="record"),
    path("mine/<str:public_id>/data.json", rights.my_data, name="my-data"),
    path("mine/<str:public_id>/mails/", rights.my_mails, name="my-mails"),
    path("mine/<str:public_id>/guardian/", rights.ask_guardian, name="ask-guardian"),
    path("mine/<str:public_id>/withdraw/", rights.withdraw, name="withdraw"),
    path("guardian/<str:public_id>/", rights.guardian, name="guardian"),
    path("sent/<str:upload_id>/", participant.sent, name="sent"),
    path("takes/<str:public_id>/", participant.my_take, name="my-take"),
    path("takes/<str:public_id>/answer/", participant.answer, name="answer"),
    path("takes/<str:public_id>/withdraw/", participant.withdraw_take, name="withdraw-take"),
]
organizers = [
    path("sign-in/", LoginView.as_view(template_name="organizer/sign_in.html", authentication_form=SignInForm, next_page="desk"), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("desk/", organizer.desk, name="desk"),
    path("desk/new/", organizer.new_call, name="new-call"),
    path("desk/<slug:slug>/", organizer.board, name="board"),
    path("desk/<slug:slug>/call/", organizer.edit_call, name="edit-call"),
    path("desk/<slug:slug>/music/", organizer.segments, name="segments"),
    path("desk/<slug:slug>/music/<int:pk>/", organizer.change_segment, name="change-segment"),
    path("desk/<slug:slug>/music/<int:pk>/place/", organizer.place_segment, name="place-segment"),
    path("desk/<slug:slug>/parts/<int:pk>/", organizer.desk_part, name="desk-part"),
    path("desk/<slug:slug>/parts/<int:pk>/reading/", reading.correct_reading, name="correct-reading"),
    path("desk/<slug:slug>/parts/<int:pk>/takes/", organizer.part_takes, name="part-takes"),
    path("desk/<slug:slug>/takes/<str:public_id>/", organizer.desk_take, name="desk-take"),
    path("desk/<slug:slug>/publish/", organizer.publish, name="publish"),
    path("desk/<slug:slug>/close/", organizer.close, name="close"),
]
editors = [
    path("desk/<slug:slug>/bench/", editor.bench, name="bench"),
    path("desk/<slug:slug>/bench/<int:pk>/", editor.shortlist, name="shortlist"),
    path("desk/<slug:slug>/bench/takes/<str:public_id>/pick/", editor.pick, name="pick"),
    path("desk/<slug:slug>/bench/picks/<int:pk>/remove/", editor.unpick, name="unpick"),
    path("desk/<slug:slug>/bench/picks/<int:pk>/nudge/", editor.nudge, name="nudge"),
    path("desk/<slug:slug>/exports/", editor.exports, name="exports"),
]
developers = [path("developers/components/", components.components, name="components")]
urlpatterns = [*players, *organizers, *editors, *developers, *shared]

"""What players and guardians may always do: take their data, stop mails, agree and take it back, leave."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from .. import access, actions, forms, overview
from . import words


def withdraw(request: HttpRequest, public_id: str) -> HttpResponse:
    """Leave the call altogether."""
    entry = access.my_entry(request, public_id)
    if request.method != "POST":
        return render(request, "participant/withdraw.html", {"entry": entry, "call": entry.call})
    actions.withdraw_entry(entry)
    messages.success(request, _("You have left. Your files and what we knew about you are deleted."))
    return redirect("call", entry.call.slug)


@never_cache
@require_safe
def my_data(request: HttpRequest, public_id: str) -> HttpResponse:
    """Everything stored about the player, as a file."""
    entry = access.my_entry(request, public_id)
    response = JsonResponse(actions.export_my_data(entry), json_dumps_params={"indent": 1, "ensure_ascii": False})
    response["Content-Disposition"] = 'attachment; filename="my-tapoff-data.json"'
    return response


def my_mails(request: HttpRequest, public_id: str) -> HttpResponse:
    """Which mails a player gets."""
    entry = access.my_entry(request, public_id)
    if request.method == "POST":
        kind = request.POST.get("kind", "")
        if kind in words.MAIL_WORDS:
            actions.stop_mail(entry, kind)
            messages.success(request, _("You get no more mails of this kind."))
        return redirect("my-mails", public_id)
    kinds = [
        {"kind": kind, "word": word, "stopped": kind in entry.mail_stopped or "all" in entry.mail_stopped}
        for kind, word in words.MAIL_WORDS.items()
    ]
    return render(request, "participant/my_mails.html", {"entry": entry, "call": entry.call, "kinds": kinds})


@never_cache
def stop_mail(request: HttpRequest, secret: str) -> HttpResponse:
    """Stop one kind of mail by the link in it; a button, because mail programs open links by themselves."""
    link = access.open_link(request, secret)
    if request.method == "POST":
        actions.stop_mail(link.entry, link.about or "all")
        return render(request, "participant/stop_mail.html", {"done": True, "call": link.entry.call})
    return render(
        request,
        "participant/stop_mail.html",
        {"word": words.MAIL_WORDS.get(link.about, link.about), "call": link.entry.call},
    )


@require_POST
def ask_guardian(request: HttpRequest, public_id: str) -> HttpResponse:
    """Write to the guardian again, to a corrected address if one is given."""
    entry = access.my_entry(request, public_id)
    form = forms.GuardianAddressForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("That is not a mail address."))
        return redirect("my-page", public_id)
    try:
        actions.send_guardian_link(entry, form.cleaned_data["guardian_email"])
    except actions.Refused as error:
        messages.error(request, words.said(error))
    else:
        messages.success(request, _("We have written to them again."))
    return redirect("my-page", public_id)


@never_cache
def guardian(request: HttpRequest, public_id: str) -> HttpResponse:
    """A guardian reads, agrees, or takes it back."""
    entry = access.ward(request, public_id)
    consent = entry.call.consent_texts.first()
    form = forms.GuardianForm(request.POST or None)
    if request.method == "POST" and "take_back" in request.POST:
        actions.guardian_takes_back(entry)
        messages.success(request, _("You have taken your consent back. The editors no longer see the takes."))
        return redirect("guardian", public_id)
    if request.method == "POST" and form.is_valid():
        actions.guardian_agrees(entry, form.cleaned_data["name"], consent)
        messages.success(request, _("Thank you. You can come back by the same link and take it back at any time."))
        return redirect("guardian", public_id)
    context = {"entry": entry, "call": entry.call, "consent": consent, "form": form, "line": overview.my_parts(entry)}
    return render(request, "participant/guardian.html", context, status=422 if form.errors else 200)

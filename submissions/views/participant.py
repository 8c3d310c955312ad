"""The player's pages: call, part, entry, sending, answer, and the way out."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from portal import limits

from .. import access, actions, forms, overview
from ..models import Call
from . import calendar, shelf, words
from .answer import answer_context

SHORTEST_SHARE = 0.5  # a file shorter than half the written part cannot hold it: said before the first byte is sent


def _line_context(call: Call, entries=()) -> dict:
    parts = overview.parts_now(call)
    found = overview.voices(parts)
    mine = frozenset(pk for entry in entries for pk in entry.parts.values_list("pk", flat=True))
    seats = overview.line_of(found, mine=mine, url=lambda part: reverse("part", args=[call.slug, part.pk]))
    return {
        "voices": found,
        "seats": seats,
        "open_chairs": sum(voice.open for voice in found),
        "beginner": overview.easiest_open(found),
    }


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """All public calls, and the way back to what this browser already holds."""
    return render(
        request, "participant/home.html", {"calls": overview.public_calls(), "entries": access.my_entries(request)}
    )


@require_safe
def care(request: HttpRequest) -> HttpResponse:
    return render(request, "participant/care.html")


@require_safe
def call(request: HttpRequest, slug: str) -> HttpResponse:
    """The public page of a call."""
    call = access.public_call(slug)
    entries = [entry for entry in access.my_entries(request) if entry.call_id == call.pk]
    context = {"call": call, "entries": entries, "consent": call.consent_texts.first(), **_line_context(call, entries)}
    return render(request, "participant/call.html", context)


@require_safe
def calendar_file(request: HttpRequest, slug: str) -> HttpResponse:
    """The deadline as a calendar file."""
    call = access.public_call(slug)
    content = calendar.deadline_file(call, request.build_absolute_uri(reverse("call", args=[slug])))
    headers = {"Content-Disposition": f'attachment; filename="{call.slug}.ics"'}
    return HttpResponse(content, content_type="text/calendar; charset=utf-8", headers=headers)


@require_safe
def part(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """One part: sheet, click, guide, how to film it, where to send it."""
    part = access.public_part(slug, pk)
    call = part.segment.call
    entry = next((e for e in access.my_entries(request) if e.call_id == call.pk), None)
    enter_url = f"{reverse('enter', args=[slug])}?part={part.pk}"
    send_url = reverse("send-take", args=[entry.public_id, part.pk]) if entry else enter_url
    context = {
        "call": call,
        "part": part,
        "demand": overview.demand_of(part),
        "files": shelf.materials_of(part),
        "send_url": send_url,
    }
    return render(request, "participant/part.html", context)


@require_safe
def practice(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Play along: tempo ladder, loops, click and guide."""
    part = access.public_part(slug, pk)
    return render(
        request,
        "participant/practice.html",
        {"call": part.segment.call, "part": part, **shelf.practice_of(part, request.GET)},
    )


def enter(request: HttpRequest, slug: str) -> HttpResponse:
    """The entry form: no account, only what is needed."""
    call = access.public_call(slug)
    if not call.is_open:
        messages.warning(request, _("This call takes no more entries."))
        return redirect("call", slug)
    consent = call.consent_texts.first()
    form = forms.EntryForm(call, request.POST or None)
    if request.method == "POST" and form.is_valid():
        fields = {
            name: form.cleaned_data[name]
            for name in (
                "display_name",
                "credit_name",
                "email",
                "age_band",
                "country",
                "guardian_email",
                "parts",
                "zone",
            )
        }
        try:
            entry, link = actions.enter(
                call,
                consent_text=consent,
                language=get_language() or "en",
                address=limits.address_of(request),
                **fields,
            )
        except actions.Refused as error:
            form.add_error(words.field_of(form, error), words.said(error))
        else:
            access.remember(request, link)
            messages.success(
                request, _("You are in. Your private link is on its way by mail: keep it, with it you come back.")
            )
            return redirect("my-page", entry.public_id)
    found = overview.voices(overview.parts_now(call))
    chosen = words.chosen_parts(request, form, found)
    context = {"call": call, "form": form, "voices": found, "chosen": chosen, "consent": consent}
    return render(request, "participant/enter.html", context, status=422 if form.errors else 200)


def renew_link(request: HttpRequest, slug: str) -> HttpResponse:
    """A new private link by mail; the answer is the same whether the address is known or not."""
    call = access.public_call(slug)
    form = forms.RenewLinkForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        actions.renew_links(call, form.cleaned_data["email"], limits.address_of(request))
        messages.success(request, _("If this address has entered, a new link is on its way to it."))
        return redirect("call", slug)
    return render(
        request, "participant/renew_link.html", {"call": call, "form": form}, status=422 if form.errors else 200
    )


@never_cache
def open_link(request: HttpRequest, secret: str) -> HttpResponse:
    """A private link becomes a right of this browser; no page behind it has the secret in its address."""
    link = access.open_link(request, secret)
    page = "guardian" if link.purpose == link.Purpose.GUARDIAN else "my-page"
    response = redirect(page, link.entry.public_id)
    response["Referrer-Policy"] = "no-referrer"
    return response


@never_cache
@require_safe
def my_page(request: HttpRequest, public_id: str) -> HttpResponse:
    """All of a player: parts, takes, data, mails."""
    entry = access.my_entry(request, public_id)
    context = {
        "entry": entry,
        "call": entry.call,
        "zone": entry.zone or entry.call.deadline_zone,
        "my_parts": overview.my_parts(entry),
        "takes": overview.rows_of(entry),
        "voices": overview.voices(overview.parts_now(entry.call)),
        "chosen": set(entry.parts.values_list("pk", flat=True)),
        "new_text": overview.text_to_agree_to(entry),
    }
    return render(request, "participant/my_page.html", context)


@require_POST
def agree_again(request: HttpRequest, public_id: str) -> HttpResponse:
    """Yes to the newest text, after the organizer has changed it."""
    entry = access.my_entry(request, public_id)
    actions.agree_again(entry, entry.call.consent_texts.first())
    messages.success(request, _("Thank you. Your yes to the new text is kept."))
    return redirect("my-page", public_id)


@require_POST
def my_parts(request: HttpRequest, public_id: str) -> HttpResponse:
    """Change which parts a player means to play."""
    entry = access.my_entry(request, public_id)
    form = forms.MyPartsForm(entry.call, request.POST)
    if form.is_valid():
        actions.choose_parts(entry, form.cleaned_data["parts"])
        messages.success(request, _("Your parts are kept. Parts you have sent a take for stay."))
    return redirect("my-page", public_id)


@never_cache
def send_take(request: HttpRequest, public_id: str, pk: int) -> HttpResponse:
    """Send a video: resumable with a script, a plain form without."""
    entry = access.my_entry(request, public_id)
    part = access.public_part(entry.call.slug, pk)
    form = forms.SendTakeForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            take = actions.receive_file(
                entry, part, form.cleaned_data["video"], is_tryout=form.cleaned_data["is_tryout"]
            )
        except actions.Refused as error:
            form.add_error("video", words.said(error))
        else:
            return redirect("my-take", take.public_id)
    return render(
        request,
        "participant/send_take.html",
        _sending_context(entry, part) | {"form": form},
        status=422 if form.errors else 200,
    )


def _sending_context(entry, part) -> dict:
    seconds = part.segment.summary.get("seconds") or 0
    return {
        "entry": entry,
        "call": entry.call,
        "part": part,
        "longest_s": entry.call.max_take_minutes * 60,
        "shortest_s": round(seconds * SHORTEST_SHARE),
        "texts": words.sending_texts(),
    }


@never_cache
@require_safe
def record(request: HttpRequest, public_id: str, pk: int) -> HttpResponse:
    """Film in the browser: the page plays the click, counts in, keeps and sends the take."""
    entry = access.my_entry(request, public_id)
    part = access.public_part(entry.call.slug, pk)
    context = _sending_context(entry, part) | {
        "click": shelf.full_click_of(part),
        "count_off_beats": shelf.count_off_beats(part),
        "texts": words.recording_texts(),
    }
    return render(request, "participant/record.html", context)


@never_cache
@require_safe
def sent(request: HttpRequest, upload_id: str) -> HttpResponse:
    """From a finished upload to the take it became."""
    upload = access.my_upload(request, upload_id)
    take = getattr(upload, "take", None)
    return (
        redirect("my-take", take.public_id) if take else redirect("send-take", upload.entry.public_id, upload.part_id)
    )


@never_cache
@require_safe
def my_take(request: HttpRequest, public_id: str) -> HttpResponse:
    """The answer to one take, or how long it will be."""
    take = access.my_take(request, public_id)
    return render(request, "participant/my_take.html", answer_context(take, take.entry))


@never_cache
@require_safe
def answer(request: HttpRequest, public_id: str) -> HttpResponse:
    """The part of that page that changes, for the page to fetch by itself."""
    take = access.my_take(request, public_id)
    return render(request, "participant/answer.html", answer_context(take, take.entry))


@require_POST
def withdraw_take(request: HttpRequest, public_id: str) -> HttpResponse:
    """One take back; its files are deleted."""
    take = access.my_take(request, public_id)
    actions.withdraw_take(take)
    messages.success(request, _("The take is deleted."))
    return redirect("my-page", take.entry.public_id)

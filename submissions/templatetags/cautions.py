"""Cautions on pages: the music desk's own texts, which stand on every sheet too, in the reader's language."""

from django import template
from django.utils.translation import gettext

from ..engine.music import cautions

register = template.Library()
ONE = {
    "hearing": cautions.HEARING,
    "figures": cautions.HEARING_FIGURES,
    "hands": cautions.HANDS,
    "law": cautions.LAW,
    "click": cautions.CLICK_START,
}
SEVERAL = {"ears": cautions.ABOUT_EARS, "hands": cautions.ABOUT_HANDS}


@register.simple_tag
def caution(name: str) -> str:
    """One caution by its short name."""
    return gettext(ONE[name])


@register.simple_tag
def cautions_about(name: str) -> list[str]:
    """All that is said about ears, or about hands."""
    return [gettext(text) for text in SEVERAL[name]]

"""Whether a voice holds one of the chosen parts."""

from django import template

register = template.Library()


@register.filter
def has_any(voice, chosen: set[int]) -> bool:
    return any(now.part.pk in chosen for now in voice.parts)

"""What the engine says, in the reader's language, for pages and mails."""

from django import template

from ..sentences import in_words

register = template.Library()
register.filter("in_words", in_words)

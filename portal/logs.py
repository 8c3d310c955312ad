"""Logs that carry no private link: whoever reads a log must not be able to open a player's page."""

import logging
import re

from gunicorn.glogging import Logger

LINK = re.compile(r"(/(?:open|stop)/)[A-Za-z0-9_-]{8,}")


def without_links(text: str) -> str:
    """The text with the secret part of every private link replaced."""
    return LINK.sub(r"\1[link]", text)


class WithoutLinks(logging.Filter):
    """Takes private links out of every record before a handler writes it."""

    def filter(self, record: logging.LogRecord) -> bool:
        message = record.getMessage()
        if LINK.search(message):
            record.msg, record.args = without_links(message), ()
        return True


class GunicornLogger(Logger):
    """Gunicorn's access log without private links; the error log passes the same filter."""

    def setup(self, cfg) -> None:
        super().setup(cfg)
        self.error_log.addFilter(WithoutLinks())

    def atoms(self, resp, req, environ, request_time):
        cleaned = super().atoms(resp, req, environ, request_time)
        return {key: without_links(value) if isinstance(value, str) else value for key, value in cleaned.items()}

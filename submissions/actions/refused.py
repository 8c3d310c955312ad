"""The one error of actions."""


class Refused(Exception):
    """What was asked cannot be done; str(error) is a sentence for a person, field names the form field or is ""."""

    def __init__(self, says: str, field: str = "", code: str = "refused") -> None:
        super().__init__(says)
        self.field, self.code = field, code

"""What people do: a verb each, one transaction each, work queued when the transaction is through.

An action raises Refused with a sentence and the field it concerns when what was asked cannot be done.
"""

from .calls import (
    add_consent_text,
    add_segment,
    close_call,
    create_call,
    edit_call,
    order_segments,
    publish_call,
    remake_materials,
    remove_segment,
    set_chairs,
    state_rights,
    update_segment,
)
from .corrections import Remade, correct_reading
from .desk import apply_nudge, decide, lay_out, order_export, pick, unpick
from .entries import (
    agree_again,
    choose_parts,
    enter,
    export_my_data,
    guardian_agrees,
    guardian_takes_back,
    renew_links,
    send_guardian_link,
    stop_mail,
    withdraw_entry,
)
from .refused import Refused
from .takes import (
    abandon_upload,
    begin_upload,
    bytes_here,
    finish_upload,
    receive_bytes,
    receive_file,
    receive_take,
    set_length,
    withdraw_take,
)

__all__ = [
    "Refused",
    "Remade",
    "abandon_upload",
    "add_consent_text",
    "add_segment",
    "agree_again",
    "apply_nudge",
    "begin_upload",
    "bytes_here",
    "choose_parts",
    "close_call",
    "correct_reading",
    "create_call",
    "decide",
    "edit_call",
    "enter",
    "export_my_data",
    "finish_upload",
    "guardian_agrees",
    "guardian_takes_back",
    "lay_out",
    "order_export",
    "order_segments",
    "pick",
    "publish_call",
    "receive_bytes",
    "receive_file",
    "receive_take",
    "remake_materials",
    "remove_segment",
    "renew_links",
    "send_guardian_link",
    "set_chairs",
    "set_length",
    "state_rights",
    "stop_mail",
    "unpick",
    "update_segment",
    "withdraw_entry",
    "withdraw_take",
]

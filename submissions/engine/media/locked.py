"""A process locks itself in before it looks at a stranger's file: limits, no network, no new files, no programs.

Used by the reading child only (`child.py`); once locked there is no way back. Limits are POSIX resource limits; on Linux
a seccomp filter (kernel documentation, "Seccomp BPF") refuses the system calls that reach outside the process. Where
the filter cannot be set (another system, another processor), `lock_in` says so in what it returns.
"""

import contextlib
import ctypes
import os
import platform
import resource
import struct
import sys
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """What one reading child may use. write_bytes 0: it may write no file at all, only its pipe."""

    cpu_s: int
    memory_bytes: int
    write_bytes: int = 0
    open_files: int = 16  # its pipe, its one file, and what the interpreter holds


# System call numbers from the kernel's unistd tables: (x86-64, generic 64-bit as used by aarch64); None: not there.
# Refused: all that opens, makes or renames files, speaks to a network or another process, starts a program.
REFUSED: dict[str, tuple[int | None, int | None]] = {
    "open": (2, None),
    "openat": (257, 56),
    "openat2": (437, 437),
    "creat": (85, None),
    "truncate": (76, 45),
    "rename": (82, None),
    "renameat": (264, 38),
    "renameat2": (316, 276),
    "mkdir": (83, None),
    "mkdirat": (258, 34),
    "rmdir": (84, None),
    "unlink": (87, None),
    "unlinkat": (263, 35),
    "link": (86, None),
    "linkat": (265, 37),
    "symlink": (88, None),
    "symlinkat": (266, 36),
    "mknod": (133, None),
    "mknodat": (259, 33),
    "chmod": (90, None),
    "fchmod": (91, 52),
    "fchmodat": (268, 53),
    "chown": (92, None),
    "fchown": (93, 55),
    "lchown": (94, None),
    "fchownat": (260, 54),
    "socket": (41, 198),
    "socketpair": (53, 199),
    "connect": (42, 203),
    "bind": (49, 200),
    "listen": (50, 201),
    "accept": (43, 202),
    "accept4": (288, 242),
    "sendto": (44, 206),
    "sendmsg": (46, 211),
    "execve": (59, 221),
    "execveat": (322, 281),
    "fork": (57, None),
    "vfork": (58, None),
    "kill": (62, 129),
    "ptrace": (101, 117),
    "process_vm_readv": (310, 270),
    "process_vm_writev": (311, 271),
    "pidfd_open": (434, 434),
    "pidfd_getfd": (438, 438),
    "mount": (165, 40),
    "umount2": (166, 39),
    "setns": (308, 268),
    "unshare": (272, 97),
    "chroot": (161, 51),
    "pivot_root": (155, 41),
    "bpf": (321, 280),
    "io_uring_setup": (425, 425),
    "perf_event_open": (298, 241),
    "userfaultfd": (323, 282),
    "keyctl": (250, 219),
    "add_key": (248, 217),
    "request_key": (249, 218),
}
CLONE = (56, 220)  # allowed for threads only
CLONE3 = (435, 435)  # its flags lie in memory where a filter cannot look: "not there", and the C library uses clone
CLONE_THREAD = 0x00010000  # linux/sched.h
AUDIT_ARCH = {"x86_64": (0, 0xC000003E), "aarch64": (1, 0xC00000B7)}  # linux/audit.h
_PR_SET_NO_NEW_PRIVS, _PR_SET_SECCOMP, _PR_SET_PDEATHSIG, _FILTER = 38, 22, 1, 2  # linux/prctl.h, linux/seccomp.h
_LD, _JEQ, _JSET, _JGE, _RET = 0x20, 0x15, 0x45, 0x35, 0x06  # linux/bpf_common.h: BPF_LD|W|ABS, BPF_JMP|..., BPF_RET
_ALLOW, _ERRNO, _KILL = 0x7FFF0000, 0x00050000, 0x80000000
_EPERM, _ENOSYS = 1, 38
_X32_BIT = 0x40000000  # the second call table of x86-64


def lock_in(limits: Limits) -> bool:
    """Lock this process in; True when the system call filter holds as well as the limits."""
    for kind, value in (
        (resource.RLIMIT_CPU, limits.cpu_s),
        (resource.RLIMIT_FSIZE, limits.write_bytes),
        (resource.RLIMIT_NOFILE, limits.open_files),
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(kind, (value, value))
    with contextlib.suppress(ValueError, OSError):  # macOS knows the limit and refuses to set it
        resource.setrlimit(resource.RLIMIT_AS, (limits.memory_bytes, limits.memory_bytes))
    os.nice(5)  # a probe never takes the processor from a page
    return _filter_calls()


def _filter_calls() -> bool:
    column, arch = AUDIT_ARCH.get(platform.machine(), (0, 0))
    if not arch or not sys.platform.startswith("linux"):
        return False
    program = _program(column, arch)
    code = ctypes.create_string_buffer(program, len(program))
    header = struct.pack("HxxxxxxP", len(program) // 8, ctypes.addressof(code))
    libc = ctypes.CDLL(None, use_errno=True)
    libc.prctl(_PR_SET_PDEATHSIG, 9, 0, 0, 0)  # when the worker dies, so does its reader
    if libc.prctl(_PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0:
        return False
    return bool(libc.prctl(_PR_SET_SECCOMP, _FILTER, ctypes.create_string_buffer(header, len(header)), 0, 0) == 0)


def _program(column: int, arch: int) -> bytes:
    """The filter: wrong architecture dies, refused calls fail with EPERM, clone only for threads, all else passes."""
    refused = sorted(number for pair in REFUSED.values() if (number := pair[column]) is not None)

    def step(code: int, value: int, yes: int = 0, no: int = 0) -> bytes:
        return struct.pack("HBBI", code, yes, no, value)

    steps = [step(_LD, 4), step(_JEQ, arch, 1, 0), step(_RET, _KILL), step(_LD, 0)]
    if column == 0:
        steps += [step(_JGE, _X32_BIT, 0, 1), step(_RET, _ERRNO | _EPERM)]
    steps += [step(_JEQ, CLONE3[column], 0, 1), step(_RET, _ERRNO | _ENOSYS)]
    steps += [step(_JEQ, CLONE[column], 0, 4), step(_LD, 16), step(_JSET, CLONE_THREAD, 0, 1)]
    steps += [step(_RET, _ALLOW), step(_RET, _ERRNO | _EPERM)]
    for number in refused:
        steps += [step(_JEQ, number, 0, 1), step(_RET, _ERRNO | _EPERM)]
    return b"".join([*steps, step(_RET, _ALLOW)])

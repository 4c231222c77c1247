"""Brings up the loopback of a new network namespace, then becomes the command that follows (Linux)."""

import fcntl
import os
import socket
import struct
import sys

SET_FLAGS, UP, RUNNING = 0x8914, 0x1, 0x40
"""SIOCSIFFLAGS, IFF_UP and IFF_RUNNING of Linux, netdevice(7)."""

with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
    fcntl.ioctl(any_socket, SET_FLAGS, struct.pack("16sH14x", b"lo", UP | RUNNING))
os.execvp(sys.argv[1], sys.argv[1:])

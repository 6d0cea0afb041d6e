"""Reads the first plane of FITS images with cfitsio itself, for comparison with our reader, on files that may be damaged.

usage: cfitsio_pixels.py LIST   (a line of LIST: FILE <tab> HDU from 0 <tab> OUTPUT)
OUTPUT gets width and height as two little-endian int64, then the pixels as float64 (scaled, NaN without value).
Prints one line a file: "ok", "refused", "crashed" or "hung". Files are read in child processes, since cfitsio may
crash on damaged ones; needs the shared library of Debian's libcfitsio10.
"""

import ctypes
import ctypes.util
import os
import signal
import struct
import sys

lib = ctypes.CDLL(ctypes.util.find_library("cfitsio") or "libcfitsio.so.10")
TDOUBLE = 82
MAX_PIXELS = 1 << 24
SECONDS = 5


def read(path, hdu, output):
    file = ctypes.c_void_p()
    status = ctypes.c_int(0)
    lib.ffdkopn(ctypes.byref(file), path.encode(), 0, ctypes.byref(status))
    kind = ctypes.c_int()
    lib.ffmahd(file, ctypes.c_int(hdu + 1), ctypes.byref(kind), ctypes.byref(status))
    compressed = lib.fits_is_compressed_image(file, ctypes.byref(status))
    naxis, bitpix = ctypes.c_int(), ctypes.c_int()
    lib.ffgidm(file, ctypes.byref(naxis), ctypes.byref(status))
    lib.ffgidt(file, ctypes.byref(bitpix), ctypes.byref(status))
    try:
        return read_open(file, naxis.value, bitpix.value, compressed, status, output)
    finally:
        lib.ffclos(file, ctypes.byref(ctypes.c_int(0)))


def read_open(file, naxis, bitpix, compressed, status, output):
    if status.value or naxis < 2 or naxis > 9:
        return status.value or -1
    axes = (ctypes.c_long * naxis)()
    lib.ffgisz(file, naxis, axes, ctypes.byref(status))
    width, height = axes[0], axes[1]
    if status.value or width < 1 or height < 1 or width * height > MAX_PIXELS:
        return status.value or -2
    pixels = (ctypes.c_double * (width * height))()
    first = (ctypes.c_long * naxis)(*([1] * naxis))
    # Without a null value cfitsio hands floating-point numbers through as they are.
    null = ctypes.byref(ctypes.c_double(float("nan"))) if bitpix > 0 or compressed else None
    found = ctypes.c_int()
    lib.ffgpxv(
        file, TDOUBLE, first, ctypes.c_longlong(width * height), null, pixels, ctypes.byref(found), ctypes.byref(status)
    )
    if status.value == 0:
        with open(output, "wb") as out:
            out.write(struct.pack("<qq", width, height))
            out.write(bytes(pixels))
    return status.value


jobs = [line.rstrip("\n").split("\t") for line in open(sys.argv[1], encoding="utf-8")]
next_job = 0
while next_job < len(jobs):
    # One child reads file after file; when one of them kills it, the next child goes on behind that file.
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        for path, hdu, output in jobs[next_job:]:
            signal.alarm(SECONDS)
            status = read(path, int(hdu), output)
            os.write(writer, b"ok\n" if status == 0 else b"refused\n")
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader) as verdicts:
        for verdict in verdicts:
            print(verdict, end="")
            next_job += 1
    _, code = os.waitpid(child, 0)
    if os.WIFSIGNALED(code):
        print("hung" if os.WTERMSIG(code) == signal.SIGALRM else "crashed")
        next_job += 1

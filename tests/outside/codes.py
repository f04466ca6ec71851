"""Reads the codes of a picture (PGM or PNG): what each says as a line of JSON. The reader is zxing-cpp."""
import json
import sys
import zlib

import numpy
import zxingcpp


def pgm(data):
    fields = data.split(None, 4)
    width, height = int(fields[1]), int(fields[2])
    return numpy.frombuffer(data[-width * height:], dtype=numpy.uint8).reshape(height, width)


def png(data):
    """One bit a dot, grey, no filter: what the raster of a label is."""
    width, height = (int.from_bytes(data[at:at + 4], "big") for at in (16, 20))
    assert (data[24], data[25]) == (1, 0), "one bit of grey"
    at, packed = 8, b""
    while at < len(data):
        size = int.from_bytes(data[at:at + 4], "big")
        if data[at + 4:at + 8] == b"IDAT":
            packed += data[at + 8:at + 8 + size]
        at += size + 12
    row = (width + 7) // 8 + 1
    lines = numpy.frombuffer(zlib.decompress(packed), dtype=numpy.uint8).reshape(height, row)
    assert not lines[:, 0].any(), "no filter"
    return numpy.unpackbits(lines[:, 1:], axis=1)[:, :width] * 255


data = open(sys.argv[1], "rb").read()
picture = png(data) if data[:4] == b"\x89PNG" else pgm(data)
for found in zxingcpp.read_barcodes(numpy.ascontiguousarray(picture)):
    print(json.dumps({"aim": found.symbology_identifier, "bytes": list(found.bytes)}))

"""Makes jobs of any size for measuring, much faster than scripts/make_job: the same moves again and again, between
changes that lie evenly. The trail map's machine (config/demo.toml): ash T0, birch T1..T5 by feeder, cedar T6."""

WORKING_C = [215, 210, 220, 205, 225, 212, 230]
# Which tool comes next: the feeder's own filaments among themselves, and the other toolheads.
ORDER = [0, 1, 6, 2, 3, 0, 6, 1, 4, 5]
LEAST_BETWEEN = 600   # bytes: a change and a few moves
HEAD = b"""; made for measuring
M201 X6000 Y6000 Z250 E5000
M203 X350 Y350 Z15 E70
M204 P3000 R2500 T4000
G21
G90
M83
G28
T0
M109 T0 S215
G1 Z0.2 F600
"""
END = b"M104 T0 S0\nM104 T1 S0\nM104 T6 S0\n"


def moves():
    """About 60 kB of walls: some 2800 lines of 22 bytes, which begin and end in the same place."""
    lines = [b"G0 X20 Y20 F12000"]
    for i in range(400):
        x, y = 20 + i % 97 * 2.713, 20 + i % 89 * 2.391
        lines += [b"G1 F2700", b"G1 X%.2f Y%.2f E%.5f" % (x, y, 0.02 + i % 7 * 0.01), b"G1 X%.3f E0.03117" % (x + 4.4),
                  b"G1 Y%.3f E0.02945" % (y + 3.9), b"G1 X%.2f Y%.2f E0.0251" % (x + 1.3, y + 5.2),
                  b"G1 X%.3f Y%.3f E.02208" % (x - 1.7, y + 3.1), b"G0 X%.2f Y%.2f F12000" % (x + 7, y)]
    return b"\n".join(lines) + b"\n"


def change(tool):
    return (b"G1 E-1.2 F2100\nG1 Z1 F600\nM107\nT%d\nM109 T%d S%d\nG0 X302 Y18 F12000\nG1 E12 F180\nG1 Z0.2 F600\n"
            % (tool, tool, WORKING_C[tool]))


def write(out, size, changes):
    """Writes about `size` bytes (within one block of moves) with so many changes; how many bytes."""
    if size < (changes + 1) * LEAST_BETWEEN:
        raise ValueError(f"{changes} changes do not fit into {size} bytes")
    block = moves()
    written = out.write(HEAD)
    for use in range(changes + 1):
        if use > 0:
            written += out.write(change(ORDER[use % len(ORDER)]))
        until = (size - len(END)) * (use + 1) // (changes + 1)
        while until - written >= len(block):
            written += out.write(block)
        rest = block[:max(0, until - written)]
        written += out.write(rest[:rest.rfind(b"\n") + 1])
    return written + out.write(END)

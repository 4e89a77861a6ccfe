"""How time grows: t = start + a * bytes^p + b * changes^q, by least squares on logarithms of what each part takes."""
import math


def slope(points):
    """Of log y over log x; None of fewer than two different x. What took no time tells nothing."""
    logs = [(math.log(x), math.log(y)) for x, y in points if y > 0]
    if len({x for x, _ in logs}) < 2:
        return None
    mean_x, mean_y = (sum(column) / len(logs) for column in zip(*logs))
    return sum((x - mean_x) * (y - mean_y) for x, y in logs) / sum((x - mean_x) ** 2 for x, _ in logs)


def exponents(points, start=0):
    """(p, q) of points (bytes, changes, seconds): p by the jobs of the fewest changes, q by the jobs of one size, the one
    with the most numbers of changes and the smallest of those, beyond what the fewest changes take."""
    fewest = min(changes for _, changes, _ in points)
    in_bytes = slope([(size, seconds - start) for size, changes, seconds in points if changes == fewest])
    by_size = {}
    for size, changes, seconds in points:
        by_size.setdefault(size, {})[changes] = seconds
    most = max(len(times) for times in by_size.values())
    times = by_size[min(size for size, times in by_size.items() if len(times) == most)]
    base = times[min(times)]
    return in_bytes, slope([(changes, seconds - base) for changes, seconds in times.items() if changes > min(times)])

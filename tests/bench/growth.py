"""How time grows: t = c * bytes^p * changes^q, by least squares on logarithms."""
import math


def solve(matrix, right):
    """Gauss with pivots; None where the system does not say."""
    n = len(right)
    rows = [list(row) + [value] for row, value in zip(matrix, right)]
    for i in range(n):
        pivot = max(range(i, n), key=lambda r: abs(rows[r][i]))
        if abs(rows[pivot][i]) < 1e-9:
            return None
        rows[i], rows[pivot] = rows[pivot], rows[i]
        for r in range(n):
            if r != i:
                factor = rows[r][i] / rows[i][i]
                rows[r] = [a - factor * b for a, b in zip(rows[r], rows[i])]
    return [rows[i][n] / rows[i][i] for i in range(n)]


def exponents(points):
    """(p, q) of points (bytes, changes, seconds). None for what the points do not vary in, or cannot tell apart."""
    logs = [tuple(math.log(x) for x in point) for point in points]
    vary = [len({log[i] for log in logs}) > 1 for i in (0, 1)]
    if not any(vary):
        return None, None
    # Around the means, so that the sums keep their digits.
    means = [sum(log[i] for log in logs) / len(logs) for i in range(3)]
    columns = [[log[i] - means[i] for log in logs] for i in range(3)]
    used = [i for i in (0, 1) if vary[i]]
    matrix = [[sum(a * b for a, b in zip(columns[i], columns[j])) for j in used] for i in used]
    right = [sum(a * b for a, b in zip(columns[i], columns[2])) for i in used]
    solved = solve(matrix, right)
    if solved is None:
        return None, None
    result = dict(zip(used, solved))
    return result.get(0), result.get(1)

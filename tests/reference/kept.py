"""A table that a script computes and a test keeps: written anew, or checked.

    SCRIPT FILE           writes FILE
    SCRIPT --check FILE   checks whether FILE is what SCRIPT writes, numbers to the script's tolerance; exit 1 if not
"""
import csv
import io
import sys


def table(comments, head, rows):
    """The text of a table: comment lines, the names of the columns, rows."""
    out = io.StringIO()
    out.writelines(f"# {comment}\n" for comment in comments)
    csv.writer(out, lineterminator="\n").writerows([head, *rows])
    return out.getvalue()


def main(fresh, tolerance):
    """Writes or checks by the command line; the exit code."""
    *check, path = sys.argv[1:]
    if check not in ([], ["--check"]):
        sys.exit(f"{sys.argv[0]}: usage: [--check] FILE")
    if not check:
        with open(path, "w", encoding="ascii") as out:
            out.write(fresh)
        return 0
    with open(path, encoding="ascii") as kept:
        old, new = kept.read().splitlines(), fresh.splitlines()
    if len(old) != len(new):
        print(f"{path} has {len(old)} lines, not {len(new)}")
        return 1
    worst = 0.0
    for one, other in zip(csv.reader(old), csv.reader(new)):
        apart = difference(one, other)
        if not apart <= tolerance:
            print(f"{path}: {','.join(one)} is now {','.join(other)}")
            return 1
        worst = max(worst, apart)
    print(f"{path}: {len(new)} lines as computed, to {worst:.1e}")
    return 0


def difference(one, other):
    """The largest one between the numbers of two lines; infinite where their texts differ."""
    if len(one) != len(other):
        return float("inf")
    return max((0.0 if a == b else between(a, b) for a, b in zip(one, other)), default=0.0)


def between(a, b):
    try:
        return abs(float(a) - float(b))
    except ValueError:
        return float("inf")

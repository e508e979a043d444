"""What a book holds: its tables, the steps that made them, and what may stand in a column.

Only facts are kept: what was measured, seen, typed, set, bent, read on a gauge, decided, handed out. Lie readings, fits
and plans are derived from them (`linetilt.session`), so that a correction reaches every page.
"""

import json
from dataclasses import asdict, fields
from datetime import date

from ..base.checks import HANDS, check, check_number, is_text
from ..base.club import Club
from ..base.errors import InputError
from ..base.states import COUNTED, REFUSED, SET_ASIDE, TO_LOOK_AT

APPLICATION_ID = 0x6C74424B  # "ltBK" in the file's header: this SQLite file is a book
_SHOT_TABLE = """CREATE TABLE {name} (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session,
    number INTEGER NOT NULL, club_id INTEGER NOT NULL REFERENCES club, at TEXT NOT NULL, key TEXT, photo TEXT, kit TEXT NOT NULL,
    tilt_deg REAL, u_tilt_deg REAL, strike_toe_mm REAL, u_strike_toe_mm REAL, strike_up_mm REAL, u_strike_up_mm REAL,
    line_width_mm REAL, u_line_width_mm REAL, strike_toe_lengths REAL, u_strike_toe_lengths REAL, strike_up_lengths REAL,
    u_strike_up_lengths REAL, score_line_length_mm REAL, remarks TEXT NOT NULL, marks TEXT, mark_budget TEXT,
    lie_error_deg REAL, u_lie_error_deg REAL, heading_known INTEGER NOT NULL, net_left_mm REAL, net_distance_mm REAL, start_deg REAL,
    u_start_deg REAL, state TEXT NOT NULL, reason TEXT NOT NULL, why TEXT NOT NULL, note TEXT NOT NULL,
    UNIQUE (session_id, number), UNIQUE (session_id, key))"""

SHARED = ("path_deg", "u_path_deg", "line_turn_deg", "u_line_turn_deg", "shaft_lean_deg", "u_shaft_lean_deg")
_NEW_IN_A_SHOT = {
    "key": None, "kit": "", "strike_toe_lengths": None, "u_strike_toe_lengths": None, "strike_up_lengths": None,
    "u_strike_up_lengths": None, "score_line_length_mm": None, "net_left_mm": None, "net_distance_mm": None,
}  # fmt: skip
_OLD_REASONS = {
    "heavy strike": "heavy_strike",
    "mat moved": "mat_moved",
    "double print": "double_print",
    "wrong ball": "wrong_ball",
    "clean face": "clean_face",
}


def facts_of_old(row):
    """Return a shot as the first four versions of the book kept it as the facts that it holds, a dict.

    A lie that was computed from a tilt is left out: it is derived anew. One without a tilt was judged in some other way
    and stays. What a shot's state was stood in an English sentence.
    """
    row = {"marks": None} | row | _NEW_IN_A_SHOT
    flags, counted, why = row.pop("flags"), row.pop("counted"), row["why"]
    row.pop("lie_budget", None)
    row["remarks"] = " ".join(flags.replace(",", " ").replace(";", " ").split())
    row |= {"state": SET_ASIDE, "reason": "other", "why": ""}
    if counted or why == "no lie reading":
        row |= {"state": COUNTED, "reason": ""}
    elif why == "not looked at yet":
        row |= {"state": TO_LOOK_AT, "reason": ""}
    elif why.startswith("photo refused: "):
        row |= {"state": REFUSED, "reason": "", "why": why.removeprefix("photo refused: ")}
    elif why in _OLD_REASONS:
        row["reason"] = _OLD_REASONS[why]
    else:
        row["why"] = why
    if row["tilt_deg"] is not None:
        row |= {"lie_error_deg": None, "u_lie_error_deg": None, "heading_known": 0}
    return row


def facts_alone(db):
    """Step 5: facts alone in a shot, its state as a code; who acted on which screen; order by ids in place of the
    clock."""
    db.execute(_SHOT_TABLE.format(name="facts"))
    names = [column[1] for column in db.execute("PRAGMA table_info(shot)")]
    seen = set()
    for values in db.execute("SELECT * FROM shot ORDER BY id").fetchall():
        row = facts_of_old(dict(zip(names, values, strict=True)))
        key = (row["session_id"], row["photo"])
        if row["photo"] and key not in seen:  # a photo that an old kit took twice stays two shots, as it was
            seen.add(key)
            row["key"] = photo_key(row["photo"])
        db.execute(
            f"INSERT INTO facts ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})",
            tuple(row.values()),
        )
    _keep_leans(db)
    used = db.execute("SELECT seq FROM sqlite_sequence WHERE name = 'shot'").fetchone()
    db.execute("DROP TABLE shot")
    db.execute("ALTER TABLE facts RENAME TO shot")
    if used:  # a number once given is never given again
        db.execute("DELETE FROM sqlite_sequence WHERE name = 'shot'")
        db.execute("INSERT INTO sqlite_sequence (name, seq) VALUES ('shot', ?)", used)
    for name, columns in (("of_club", "club_id"), ("of_photo", "photo"), ("counted", "session_id, state")):
        db.execute(f"CREATE INDEX shot_{name} ON shot ({columns})")
    for number, before in db.execute(
        "SELECT id, before FROM change WHERE kind = 'shot' AND before IS NOT NULL"
    ).fetchall():
        db.execute("UPDATE change SET before = ? WHERE id = ?", (json.dumps(facts_of_old(json.loads(before))), number))
    for table, column in (
        ("edit", "action TEXT NOT NULL DEFAULT ''"),  # added, corrected, decided, removed, undone
        ("edit", "screen TEXT NOT NULL DEFAULT ''"),  # where it was done
        ("edit", "session_id INTEGER"),  # and in which session
        ("plan", "basis TEXT NOT NULL DEFAULT '{}'"),  # what it stood on
        ("plan", "kit TEXT NOT NULL DEFAULT ''"),
        *(("session", f"{name} REAL") for name in SHARED),  # what all balls of a session share, where somebody said it
    ):
        db.execute(f"ALTER TABLE {table} ADD COLUMN {column}")
    db.execute("DROP TRIGGER IF EXISTS session_opened")
    db.execute(
        "CREATE TABLE opening (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session "
        "ON DELETE CASCADE, "
        "bay TEXT NOT NULL)"
    )
    db.execute("INSERT INTO opening (session_id, bay) SELECT id, '' FROM session ORDER BY coalesce(opened, ''), id")


def _keep_leans(db):
    """Keep the lean of the ball's line with its session where the first version kept it in each ball's budget alone."""
    leans = {}
    for session, budget in db.execute("SELECT session_id, lie_budget FROM shot WHERE lie_budget IS NOT NULL"):
        for line in json.loads(budget):
            if line["component"] == "setup tilt of the ball's line":
                leans.setdefault(session, set()).add((line["value"], line["u"]))
    for session, found in leans.items():
        if len(found) == 1 and found != {(0.0, 0.7)}:  # 0.7: what was taken where nobody said anything
            db.execute(
                "UPDATE session SET setup_tilt_deg = ?, u_setup_tilt_deg = ? WHERE id = ? AND setup_tilt_deg IS NULL",
                (*found.pop(), session),
            )


def photo_key(photo):
    """Return the key of a shot whose photo is kept under that name: one photo is one ball of a session."""
    return f"photo {photo.partition('.')[0]}"


# Steps of the schema: a book's version is the number of steps done. Never change a step that was released; add one. A
# step is SQL, or a
# function that takes the connection.
STEPS = (
    (
        "CREATE TABLE edit (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, what TEXT NOT NULL, undoes "
        "INTEGER UNIQUE REFERENCES edit)",
        # One row for each row that an edit touched: what stood there before (JSON), nothing where the edit added it.
        """CREATE TABLE change (id INTEGER PRIMARY KEY AUTOINCREMENT, edit_id INTEGER NOT NULL REFERENCES edit, kind
        TEXT NOT NULL,
            row_id INTEGER NOT NULL, before TEXT)""",
        "CREATE INDEX change_of_row ON change (kind, row_id)",
        "CREATE INDEX change_of_edit ON change (edit_id)",
        "CREATE TABLE golfer (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, handed TEXT NOT NULL, note "
        "TEXT NOT NULL)",
        """CREATE TABLE bag (id INTEGER PRIMARY KEY AUTOINCREMENT, golfer_id INTEGER NOT NULL REFERENCES golfer, name
        TEXT NOT NULL,
            note TEXT NOT NULL)""",
        """CREATE TABLE club (id INTEGER PRIMARY KEY AUTOINCREMENT, bag_id INTEGER NOT NULL REFERENCES bag, label TEXT
        NOT NULL,
            loft_deg REAL NOT NULL, handed TEXT NOT NULL, score_line_length_mm REAL, score_line_pitch_mm REAL,
            score_line_width_mm REAL, lie_deg REAL, length_in REAL, head TEXT, bend_limit_deg REAL, bent_deg REAL NOT
            NULL, from_set INTEGER NOT NULL, UNIQUE (bag_id, label))""",
        """CREATE TABLE gauge (id INTEGER PRIMARY KEY AUTOINCREMENT, club_id INTEGER NOT NULL REFERENCES club, day TEXT
        NOT NULL,
            gauge_lie_deg REAL NOT NULL)""",
        "CREATE INDEX gauge_of_club ON gauge (club_id)",
        """CREATE TABLE session (id INTEGER PRIMARY KEY AUTOINCREMENT, bag_id INTEGER NOT NULL REFERENCES bag, day TEXT
        NOT NULL,
            place TEXT NOT NULL, retest_of INTEGER REFERENCES session, note TEXT NOT NULL)""",
        "CREATE INDEX session_of_bag ON session (bag_id)",
        """CREATE TABLE shot (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session,
            number INTEGER NOT NULL, club_id INTEGER NOT NULL REFERENCES club, at TEXT NOT NULL, photo TEXT,
            tilt_deg REAL, u_tilt_deg REAL, strike_toe_mm REAL, u_strike_toe_mm REAL, strike_up_mm REAL, u_strike_up_mm
            REAL, line_width_mm REAL, u_line_width_mm REAL, flags TEXT NOT NULL, lie_error_deg REAL, u_lie_error_deg
            REAL,
            heading_known INTEGER NOT NULL, start_deg REAL, u_start_deg REAL, counted INTEGER NOT NULL, why TEXT NOT
            NULL, note TEXT NOT NULL, mark_budget TEXT, lie_budget TEXT, UNIQUE (session_id, number))""",
        "CREATE INDEX shot_of_club ON shot (club_id)",
        "CREATE INDEX shot_counted ON shot (session_id, counted)",
        "CREATE INDEX shot_of_photo ON shot (photo)",
        """CREATE TABLE plan (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session, at
        TEXT NOT NULL,
            lines TEXT NOT NULL, note TEXT NOT NULL)""",
        "CREATE INDEX plan_of_session ON plan (session_id)",
        """CREATE TABLE bend (id INTEGER PRIMARY KEY AUTOINCREMENT, club_id INTEGER NOT NULL REFERENCES club, day TEXT
        NOT NULL,
            bend_deg REAL NOT NULL, after_gauge INTEGER REFERENCES gauge, note TEXT NOT NULL)""",
        "CREATE INDEX bend_of_club ON bend (club_id)",
    ),
    (  # what a session is set up with, and when it was last chosen
        "ALTER TABLE session ADD COLUMN length_unit TEXT NOT NULL DEFAULT 'mm'",
        "ALTER TABLE session ADD COLUMN carry_unit TEXT NOT NULL DEFAULT 'm'",
        "ALTER TABLE session ADD COLUMN net_distance_mm REAL",
        "ALTER TABLE session ADD COLUMN setup_tilt_deg REAL",
        "ALTER TABLE session ADD COLUMN u_setup_tilt_deg REAL",
        "ALTER TABLE session ADD COLUMN opened TEXT",
        """CREATE TRIGGER session_opened AFTER INSERT ON session WHEN new.opened IS NULL
            BEGIN UPDATE session SET opened = strftime('%Y-%m-%dT%H:%M:%f', 'now') WHERE id = new.id; END""",
    ),
    (  # how a session is looked at: cap, bench step, sliders; not an edit, so undo passes it over
        """CREATE TABLE setting (session_id INTEGER NOT NULL REFERENCES session ON DELETE CASCADE, name TEXT NOT NULL,
            value TEXT NOT NULL, PRIMARY KEY (session_id, name))""",
    ),
    (
        "ALTER TABLE shot ADD COLUMN marks TEXT",
    ),  # JSON: where the corners and the line are in the photo, and which were placed by hand
    facts_alone,
)

KINDS = ("golfer", "bag", "club", "gauge", "session", "shot", "plan", "bend")
MARK_COLUMNS = (
    "tilt_deg",
    "u_tilt_deg",
    "strike_toe_mm",
    "u_strike_toe_mm",
    "strike_up_mm",
    "u_strike_up_mm",
    "line_width_mm",
    "u_line_width_mm",
)
LENGTH_COLUMNS = (
    "strike_toe_lengths",
    "u_strike_toe_lengths",
    "strike_up_lengths",
    "u_strike_up_lengths",
    "score_line_length_mm",
)
LIE_COLUMNS = ("lie_error_deg", "u_lie_error_deg")  # as somebody judged it, where there is no print
START_COLUMNS = ("net_left_mm", "net_distance_mm", "start_deg", "u_start_deg")
SHOT_NUMBERS = (*MARK_COLUMNS, *LENGTH_COLUMNS, *LIE_COLUMNS, *START_COLUMNS)
UNITS = {"length_unit": ("mm", "in"), "carry_unit": ("m", "yd")}
SESSION_SETTINGS = (*UNITS, "net_distance_mm", "setup_tilt_deg", "u_setup_tilt_deg", *SHARED)
CLUB_COLUMNS = tuple(field.name for field in fields(Club) if field.name != "gauge_lie_deg")


def check_entry(values):
    """Return the values of an entry fit to be stored, or say which one is not."""
    stored = {}
    for name, value in values.items():
        if name == "day":
            value = check_day(value)
        elif name == "heading_known":
            value = int(bool(value))
        elif name in UNITS:
            if value not in UNITS[name]:
                raise InputError(f"{name} is {value!r}; expected one of {', '.join(UNITS[name])}")
        elif name in SESSION_SETTINGS:
            value = None if value is None else check(name, value)
        elif name in SHOT_NUMBERS:
            if value is not None:
                unit = "degrees" if name.endswith("deg") else "millimetres"
                value = check_number(name, value, 0.0 if name.startswith("u_") else -1e4, 1e4, unit)
        elif name in ("bend_deg", "gauge_lie_deg"):
            value = check(name, value)
        elif name == "handed" and value not in HANDS:
            raise InputError(f'handed is {value!r}; expected "right" or "left"')
        elif name == "key" and value is None:
            pass  # nothing tells it from the session's others
        elif name in ("name", "note", "place", "why", "remarks", "key", "kit") and (
            not is_text(value) or (name == "name" and not value.strip())
        ):
            raise InputError(f"{name} is {value!r}; expected {'a name' if name == 'name' else 'text'}")
        stored[name] = value
    return stored


def club_row(club):
    """Return what stands in the table of clubs for a `Club`."""
    row = asdict(club)
    del row["gauge_lie_deg"]  # gauge readings have a table of their own, with their dates
    return row | {"from_set": int(club.from_set)}


def club_of(row):
    """Return the `Club` of a row of that table, without its gauge reading."""
    return Club(**{name: row[name] for name in CLUB_COLUMNS} | {"from_set": bool(row["from_set"])})


def check_day(day):
    """Return a day as year-month-day, today where none is given."""
    try:
        return date.today().isoformat() if day is None else date.fromisoformat(str(day)[:10]).isoformat()
    except ValueError as error:
        raise InputError(f"day is {day!r}; expected a date such as 2026-05-31") from error


def check_kind(kind):
    """Return `kind` if a book holds entries of it."""
    if kind not in KINDS:
        raise InputError(f"kind is {kind!r}; expected one of {', '.join(KINDS)}")
    return kind

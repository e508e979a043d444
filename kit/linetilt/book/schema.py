"""What a book holds: its tables, the steps that made them, and what may stand in a column."""

from dataclasses import asdict, fields
from datetime import date

from ..base.club import HANDS, Club
from ..base.errors import InputError
from ..base.tables import check_number, is_text

APPLICATION_ID = 0x6C74424B  # "ltBK" in the file's header: this SQLite file is a book
NOT_LOOKED = "not looked at yet"  # why a shot does not count whose photo was read and not decided on
REFUSED = "photo refused: "  # so begins why a shot is set aside whose photo could not be read

# Steps of the schema: a book's version is the number of steps done. Never change a step that was released; add one.
STEPS = (
    (
        "CREATE TABLE edit (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, what TEXT NOT NULL, undoes INTEGER UNIQUE REFERENCES edit)",
        # One row for each row that an edit touched: what stood there before (JSON), nothing where the edit added it.
        """CREATE TABLE change (id INTEGER PRIMARY KEY AUTOINCREMENT, edit_id INTEGER NOT NULL REFERENCES edit, kind TEXT NOT NULL,
            row_id INTEGER NOT NULL, before TEXT)""",
        "CREATE INDEX change_of_row ON change (kind, row_id)",
        "CREATE INDEX change_of_edit ON change (edit_id)",
        "CREATE TABLE golfer (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, handed TEXT NOT NULL, note TEXT NOT NULL)",
        """CREATE TABLE bag (id INTEGER PRIMARY KEY AUTOINCREMENT, golfer_id INTEGER NOT NULL REFERENCES golfer, name TEXT NOT NULL,
            note TEXT NOT NULL)""",
        """CREATE TABLE club (id INTEGER PRIMARY KEY AUTOINCREMENT, bag_id INTEGER NOT NULL REFERENCES bag, label TEXT NOT NULL,
            loft_deg REAL NOT NULL, handed TEXT NOT NULL, score_line_length_mm REAL, score_line_pitch_mm REAL,
            score_line_width_mm REAL, lie_deg REAL, length_in REAL, head TEXT, bend_limit_deg REAL, bent_deg REAL NOT NULL,
            from_set INTEGER NOT NULL, UNIQUE (bag_id, label))""",
        """CREATE TABLE gauge (id INTEGER PRIMARY KEY AUTOINCREMENT, club_id INTEGER NOT NULL REFERENCES club, day TEXT NOT NULL,
            gauge_lie_deg REAL NOT NULL)""",
        "CREATE INDEX gauge_of_club ON gauge (club_id)",
        """CREATE TABLE session (id INTEGER PRIMARY KEY AUTOINCREMENT, bag_id INTEGER NOT NULL REFERENCES bag, day TEXT NOT NULL,
            place TEXT NOT NULL, retest_of INTEGER REFERENCES session, note TEXT NOT NULL)""",
        "CREATE INDEX session_of_bag ON session (bag_id)",
        """CREATE TABLE shot (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session,
            number INTEGER NOT NULL, club_id INTEGER NOT NULL REFERENCES club, at TEXT NOT NULL, photo TEXT,
            tilt_deg REAL, u_tilt_deg REAL, strike_toe_mm REAL, u_strike_toe_mm REAL, strike_up_mm REAL, u_strike_up_mm REAL,
            line_width_mm REAL, u_line_width_mm REAL, flags TEXT NOT NULL, lie_error_deg REAL, u_lie_error_deg REAL,
            heading_known INTEGER NOT NULL, start_deg REAL, u_start_deg REAL, counted INTEGER NOT NULL, why TEXT NOT NULL,
            note TEXT NOT NULL, mark_budget TEXT, lie_budget TEXT, UNIQUE (session_id, number))""",
        "CREATE INDEX shot_of_club ON shot (club_id)",
        "CREATE INDEX shot_counted ON shot (session_id, counted)",
        "CREATE INDEX shot_of_photo ON shot (photo)",
        """CREATE TABLE plan (id INTEGER PRIMARY KEY AUTOINCREMENT, session_id INTEGER NOT NULL REFERENCES session, at TEXT NOT NULL,
            lines TEXT NOT NULL, note TEXT NOT NULL)""",
        "CREATE INDEX plan_of_session ON plan (session_id)",
        """CREATE TABLE bend (id INTEGER PRIMARY KEY AUTOINCREMENT, club_id INTEGER NOT NULL REFERENCES club, day TEXT NOT NULL,
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
SHOT_NUMBERS = {*MARK_COLUMNS, "lie_error_deg", "u_lie_error_deg", "start_deg", "u_start_deg"}
SESSION_SETTINGS = {  # what may stand there: the choices, or the range and its unit
    "length_unit": ("mm", "in"),
    "carry_unit": ("m", "yd"),
    "net_distance_mm": (500.0, 50_000.0, "millimetres"),
    "setup_tilt_deg": (-45.0, 45.0, "degrees"),
    "u_setup_tilt_deg": (0.0, 45.0, "degrees"),
}
CLUB_COLUMNS = tuple(field.name for field in fields(Club) if field.name != "gauge_lie_deg")


def check_entry(values):
    """Return the values of an entry fit to be stored, or say which one is not."""
    stored = {}
    for name, value in values.items():
        if name == "day":
            value = check_day(value)
        elif name in ("counted", "heading_known"):
            value = int(bool(value))
        elif name in SHOT_NUMBERS:
            unit = "degrees" if name.endswith("deg") else "millimetres"
            value = (
                None if value is None else check_number(name, value, 0.0 if name.startswith("u_") else -1e4, 1e4, unit)
            )
        elif name in ("length_unit", "carry_unit"):
            if value not in SESSION_SETTINGS[name]:
                raise InputError(f"{name} is {value!r}; expected one of {', '.join(SESSION_SETTINGS[name])}")
        elif name in SESSION_SETTINGS:
            value = None if value is None else check_number(name, value, *SESSION_SETTINGS[name])
        elif name in ("bend_deg", "gauge_lie_deg"):
            value = check_number(name, value, *((-10.0, 10.0) if name == "bend_deg" else (45.0, 80.0)), "degrees")
        elif name == "handed" and value not in HANDS:
            raise InputError(f'handed is {value!r}; expected "right" or "left"')
        elif name in ("name", "note", "place", "why", "flags") and (
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

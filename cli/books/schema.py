"""The book file's schema, version 4.

A book is an SQLite database (application id ``PNbk``, schema version in ``user_version``) in WAL
mode. Every page is written in one transaction, so a run that is cut short leaves whole pages only.
Counts start at 1. Cells are ``R4C7``. A *line* is a character for each cell of its
board, row by row, ``.`` for nothing. Lists and maps are JSON text.

What was read (``page``, ``grid``) is kept apart from what a person says about it (``correction``)
and from what follows from both (``puzzle``): a correction never overwrites a reading, and a page
read anew by a better reader meets the same corrections again.

Every row carries a seal, a checksum of all its columns, and ``tally`` the count and the sum of all
seals of each table: a changed, a lost and a strange row are all noticed (``seals.py``). Version 1
had no seals, version 2 did not say which reasons a puzzle needs, version 3 knew no other board than
the newspaper's; all are brought up to date by the first run that writes (``UPGRADES``). What a row
needs that was settled by version 2 stays unsaid.
"""

from __future__ import annotations

APPLICATION = 0x504E626B
VERSION = 4

SCHEMA = """
CREATE TABLE source (           -- a file, known by its content
  hash TEXT PRIMARY KEY,        -- SHA-256 of its bytes, 64 hex digits
  kind TEXT NOT NULL,           -- photo, pdf, tiff
  pages INTEGER NOT NULL,
  bytes INTEGER NOT NULL,
  seal BLOB
) WITHOUT ROWID;

CREATE TABLE place (            -- where a source was last seen
  path TEXT PRIMARY KEY,        -- SHA-256 of the absolute path: a book does not tell your folders
  name TEXT NOT NULL,           -- the file's name without its folder
  hash TEXT NOT NULL REFERENCES source (hash) ON DELETE CASCADE,
  seal BLOB
) WITHOUT ROWID;

CREATE TABLE page (             -- a page that is done
  hash TEXT NOT NULL REFERENCES source (hash) ON DELETE CASCADE,
  number INTEGER NOT NULL,
  width INTEGER,                -- raster pixels, rotation tag not applied
  height INTEGER,
  turns INTEGER,                -- clockwise quarter turns that bring it upright
  state TEXT NOT NULL,          -- read, no grid, unreadable, damaged: to be read again
  reason TEXT,                  -- one short word where it was not read
  sentence TEXT,                -- what to tell a person about that
  reader TEXT NOT NULL,         -- which version and digit model read it
  grids INTEGER,                -- how many grids it holds
  seal BLOB,
  PRIMARY KEY (hash, number)
) WITHOUT ROWID;

CREATE TABLE grid (             -- a grid as it was read, in reading order on its page
  hash TEXT NOT NULL,
  page INTEGER NOT NULL,
  number INTEGER NOT NULL,
  kind TEXT NOT NULL,           -- puzzle, full, cut off, too poor, other
  quality TEXT,                 -- why it is too poor
  corners TEXT NOT NULL,        -- [[x, y] × 4], raster pixels, from the reader's top-left clockwise
  crossings BLOB,               -- where its lines cross, x, y: little endian float32, of n rows
                                -- (n + 1) × (n + 1) × 2
  givens TEXT,                  -- line
  entries TEXT,                 -- line
  notes TEXT,                   -- {"R1C2": [1, 4]}
  struck TEXT,                  -- ["R5C5"]
  restored TEXT,                -- ["R2C2"]: decided by the rules of the grid
  doubts TEXT,                  -- [{"cell", "about", "read", "chance", "instead"}]
  chances BLOB,                 -- for each cell blank, 1 to n, printed: little endian float16
  chance_all_right REAL,
  crop BLOB,                    -- JPEG, the grid flattened, CROP pixels a side
  crop_seal BLOB,               -- of the crop alone: a lost picture costs no reading
  seal BLOB,
  layout TEXT,                  -- {"rows", "columns", ...}; NULL for the newspaper's grid
  PRIMARY KEY (hash, page, number),
  FOREIGN KEY (hash, page) REFERENCES page (hash, number) ON DELETE CASCADE
) WITHOUT ROWID;

CREATE TABLE correction (       -- a person's word on a cell, tied to its place on the page
  hash TEXT NOT NULL,
  page INTEGER NOT NULL,
  x REAL NOT NULL,              -- raster pixels: the cell's centre, for a whole grid the grid's
  y REAL NOT NULL,
  cell TEXT NOT NULL,           -- R4C7 when it was said; empty for a word on the whole grid
  says TEXT NOT NULL,           -- given:7, entry:7, 7, . (nothing), ok, left out, label:Lantern 7
  seal BLOB,
  PRIMARY KEY (hash, page, x, y, cell)
) WITHOUT ROWID;

CREATE TABLE puzzle (           -- what follows from a reading and its corrections
  hash TEXT NOT NULL,
  page INTEGER NOT NULL,
  number INTEGER NOT NULL,
  status TEXT NOT NULL,         -- clean, review, left out
  reason TEXT,                  -- why not clean
  givens TEXT,                  -- line
  entries TEXT,                 -- line
  doubts TEXT NOT NULL,         -- those that are left
  decided TEXT NOT NULL,        -- ["R7C4"]: in doubt, settled by page or rules, see settle
  corrected INTEGER NOT NULL,   -- how many corrections it holds
  solutions TEXT,               -- one, none, many
  solution TEXT,                -- line, where there is one
  minutes REAL,                 -- expected of an ordinary solver
  minutes_low REAL,             -- four of five such puzzles lie between low and high
  minutes_high REAL,
  looks INTEGER,
  hardest TEXT,                 -- the dearest reason that it needs
  steps INTEGER,
  canonical TEXT,               -- line: the same for all symmetric pictures of the puzzle; on
                                -- other boards than the newspaper's followed by its words
  seal BLOB,
  needs TEXT,                   -- ["naked pair"]: every reason that its solve uses
  layout TEXT,                  -- as the grid's
  PRIMARY KEY (hash, page, number),
  FOREIGN KEY (hash, page, number) REFERENCES grid (hash, page, number) ON DELETE CASCADE
) WITHOUT ROWID;

CREATE TABLE tally (            -- what each table holds, so that a lost row is missed
  name TEXT PRIMARY KEY,        -- of the table
  rows INTEGER NOT NULL,
  seals BLOB NOT NULL,          -- of all its rows, by exclusive or
  seal BLOB
) WITHOUT ROWID;

CREATE INDEX puzzle_canonical ON puzzle (canonical, hash, page, number);
"""

UPGRADES = {
    1: """
ALTER TABLE source ADD COLUMN seal BLOB;
ALTER TABLE place ADD COLUMN seal BLOB;
ALTER TABLE page ADD COLUMN grids INTEGER;
ALTER TABLE page ADD COLUMN seal BLOB;
ALTER TABLE grid ADD COLUMN crop_seal BLOB;
ALTER TABLE grid ADD COLUMN seal BLOB;
ALTER TABLE correction ADD COLUMN seal BLOB;
ALTER TABLE puzzle ADD COLUMN seal BLOB;
CREATE TABLE tally (
  name TEXT PRIMARY KEY, rows INTEGER NOT NULL, seals BLOB NOT NULL, seal BLOB
) WITHOUT ROWID;
""",
    2: "ALTER TABLE puzzle ADD COLUMN needs TEXT;",
    3: """
ALTER TABLE grid ADD COLUMN layout TEXT;
ALTER TABLE puzzle ADD COLUMN layout TEXT;
""",
}
"""From each version to the next; from version 1 before its rows are sealed."""

TABLES = ("source", "place", "page", "grid", "correction", "puzzle")
"""All that hold something of the user's; ``tally`` counts them."""
ADDED = {"seal": 2, "crop_seal": 2, "grids": 2, "needs": 3, "layout": 4}
"""Columns that version 1 has not, and the version that brought them."""
LATER = frozenset(name for name, version in ADDED.items() if version > 2)
"""Columns younger than seals: an empty one is no part of a seal, so older seals stay good."""

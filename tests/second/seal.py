#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""seal.py LEDGER RUN: works out the seal of a run again, from soakledger-seal(5) alone, and prints it."""
import hashlib, sqlite3, struct, sys

ORDER = {'session_fitting': 'session_id, fitting_id', 'verdict': 'judgement_id, place', 'batch_closed': 'batch_id',
         'judgement_finding': 'judgement_id, finding_id', 'calibration_point': 'calibration_id, place',
         'accuracy_typed': 'accuracy_id, place', 'survey_place': 'survey_id, number', 'survey_class': 'survey_id, class',
         'import_channel': 'import_id, name', 'imported_reading': 'import_id, channel_id, t_ms', 'plan': 'batch_id',
         'sensor_counted': 'run_id', 'sensor_use': 'run_id, sensor_id, channel_id', 'configuration': 'session_id',
         'sensor_dwell': 'run_id, sensor_id, channel_id, level_c', 'judgement_complete': 'judgement_id',
         'reading': 't_ms', 'reading_emf': 't_ms'}
FROM = {'configuration': ('session_id, sha256, body', 'session JOIN document ON sha256 = configuration_sha256'),
        'plan': ('batch_id, sha256, body', 'batch JOIN document ON sha256 = plan_sha256'),
        'batch': ('batch_id, opened_ms, oven_id, charge, customer, order_reference, operator_name, note, plan_name, '
                  'plan_sha256', 'batch'), 'judgement': ('judgement_id, run_id, batch_id, visit, t_ms', 'judgement'),
        'batch_closed': ('batch_id, closed_ms', 'batch'), 'judgement_finding': ('*', 'finding'),
        'judgement_complete': ('judgement_id, complete', 'judgement')}
ESCAPES = {b'\\': b'\\\\', b'"': b'\\"', b'\n': b'\\n', b'\t': b'\\t'}

def field(value):
    if isinstance(value, bytes):  # text, since text_factory is bytes; no table has a blob
        for character, escape in ESCAPES.items():
            value = value.replace(character, escape)
        return b'"' + value + b'"'
    return b'-' if value is None else b'r' + struct.pack('>d', value).hex().encode() if isinstance(value, float) else b'%d' % value

def line(fields):
    return b'\t'.join(fields) + b'\n'

def digest(name, channel, low, high):
    (columns, tables), order = FROM.get(name, ('*', name)), ORDER.get(name, name + '_id')
    rows = db.execute(f'SELECT {columns} FROM {tables} WHERE {order.split(",")[0]} BETWEEN ? AND ?' +
                      (f' AND channel_id = {channel}' if channel else '') + f' ORDER BY {order}', (low, high))
    text = hashlib.sha256(line([name.encode()] + [column[0].encode() for column in rows.description]))
    return sum(text.update(line(map(field, row))) is None for row in rows), text.hexdigest()

db = sqlite3.connect(f'file:{sys.argv[1]}?mode=ro', uri=True)
db.text_factory = bytes
form, seal, before, kind, run, sealed = next(db.execute(
    'SELECT form, seal_id, before, kind, run_id, sealed_ms FROM seal WHERE run_id = ?', (sys.argv[2],)))
text = hashlib.sha256(b'soakledger seal\t%d\n%d\t%s\t%d\t%d\t%d\n' % (form, seal, before, kind, run, sealed))
for place, name, channel, low, high in db.execute(
        'SELECT place, name, channel_id, low, high FROM seal_part WHERE seal_id = ? ORDER BY place', (seal,)).fetchall():
    rows, sha256 = digest(name.decode(), channel, low, high)
    text.update(b'%d\t%s\t%s\t%d\t%d\t%d\t%s\n' % (place, name, b'%d' % channel if channel else b'-', low, high, rows, sha256.encode()))
print(text.hexdigest())

#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""seal.py LEDGER RUN: works out the seal of a run again, from soakledger-seal(5) alone, and prints it."""
import hashlib, sqlite3, struct, sys
db = sqlite3.connect(f'file:{sys.argv[1]}?mode=ro', uri=True)
db.text_factory = lambda text: text.decode(errors='surrogateescape')
TEXTS = (('configuration', 'session', 'session', 'configuration'), ('plan', 'batch', 'batch', 'plan'),
         ('calibration_file', 'calibration', 'calibration', 'file'), ('import_description', 'import', 'import', 'description'),
         ('certificate_facts', 'certificate_kept', 'certificate', 'facts'))
KEYS = {'reading': 't_ms', 'reading_emf': 't_ms', 'sensor_use': 'run_id', 'sensor_dwell': 'run_id'}
FORMS = {name: (f'{of}_id, document.sha256, body', f'{table} JOIN document ON document.sha256 = {column}_sha256', f'{of}_id')
         for name, table, of, column in TEXTS} | {
    'batch': ('batch_id, opened_ms, oven_id, charge, customer, order_reference, operator_name, note, plan_name, plan_sha256',
              'batch', 'batch_id'), 'batch_closed': ('batch_id, closed_ms', 'batch', 'batch_id'),
    'judgement': ('judgement_id, run_id, batch_id, visit, t_ms', 'judgement', 'judgement_id'),
    'judgement_complete': ('judgement_id, complete', 'judgement', 'judgement_id'), 'judgement_finding': ('*', 'finding', 'judgement_id')}
ESCAPES = str.maketrans({'\\': '\\\\', '"': '\\"', '\n': '\\n', '\t': '\\t'})
WORDS = {type(None): lambda v: '-', int: str, str: lambda v: '"' + v.translate(ESCAPES) + '"',
         float: lambda v: 'r' + struct.pack('>d', v).hex(), bytes: lambda v: 'x' + v.hex()}
def line(fields, ends='\n'):
    return ('\t'.join(WORDS[type(field)](field) for field in fields) + ends).encode(errors='surrogateescape')
def digest(name, channel, low, high):
    keys = [row[1] for row in sorted(db.execute(f'PRAGMA table_info({name})'), key=lambda row: row[5]) if row[5]]
    columns, tables, key = FORMS.get(name) or ('*', name, KEYS.get(name, keys and keys[0]))
    rows = db.execute(f'SELECT {columns} FROM {tables} WHERE {key} BETWEEN ? AND ? ' + (f'AND channel_id = {channel} ' if channel else '') +
                      'ORDER BY ' + (key + ', 1' if name in FORMS else ', '.join(keys)), (low, high))
    text = hashlib.sha256('\t'.join([name] + [column[0] for column in rows.description]).encode() + b'\n')
    return sum(text.update(line(row)) is None for row in rows), text.hexdigest()
form, seal, before, *rest = next(db.execute('SELECT form, seal_id, before, kind, run_id, sealed_ms FROM seal WHERE run_id = ?', sys.argv[2:]))
text = hashlib.sha256(f'soakledger seal\t{form}\n{seal}\t{before}\t'.encode() + line(rest))
for place, name, *which in db.execute('SELECT place, name, channel_id, low, high FROM seal_part WHERE seal_id = ? ORDER BY place', (seal,)):
    text.update(f'{place}\t{name}\t'.encode() + line(which, '\t') + '{}\t{}\n'.format(*digest(name, *which)).encode())
print(text.hexdigest())

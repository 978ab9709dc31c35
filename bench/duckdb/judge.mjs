// Judges a file of readings with DuckDB on two threads and writes one JSON object
// a record, {"record":...,"status":...}:
//
//     node judge.mjs READINGS OUT
//
// judge.sql says what is judged. The order of the records is left to DuckDB, which
// spares it the sorting.
import { readFileSync } from 'node:fs';
import { DuckDBInstance } from '@duckdb/node-api';

const [readings, out] = process.argv.slice(2);
const literal = (text) => `'${text.replaceAll("'", "''")}'`;

const query = readFileSync(new URL('judge.sql', import.meta.url), 'utf8')
  .replace(':readings', () => literal(readings));
const instance = await DuckDBInstance.create(':memory:', { threads: '2' });
const connection = await instance.connect();
await connection.run('SET preserve_insertion_order = false');
await connection.run(`COPY (${query}) TO ${literal(out)} (FORMAT json)`);

# SPDX-License-Identifier: GPL-3.0-or-later
"""Style of the printable page: two hues and hatching, A4."""

from __future__ import annotations

from typing import Final

STYLE: Final = """
:root { color-scheme: light; --ink: #1d2429; --soft: #5b666e; --line: #cfd6da; --wash: #f3f5f6; --blue: #234f68;
  --ochre: #9a5b12; }
* { box-sizing: border-box; -webkit-print-color-adjust: exact; print-color-adjust: exact; }
body { margin: 0 auto; padding: 24px 28px 48px; max-width: 1060px; color: var(--ink); background: #fff;
  font: 15px/1.45 "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif; }
header { border-bottom: 3px solid var(--blue); margin-bottom: 18px; padding-bottom: 10px; }
header p { margin: 0; color: var(--soft); }
h1 { font-size: 27px; line-height: 1.2; margin: 0 0 4px; overflow-wrap: anywhere; }
h2 { font-size: 19px; margin: 30px 0 8px; color: var(--blue); }
h3 { font-size: 15px; margin: 16px 0 2px; }
p { margin: 6px 0 10px; max-width: 78ch; }
nav { margin-top: 8px; }
nav a { color: var(--blue); margin-right: 14px; }
.facts { display: grid; grid-template-columns: repeat(3, 1fr); gap: 1px; background: var(--line); margin: 10px 0 14px;
  border: 1px solid var(--line); }
.facts > div { background: #fff; padding: 8px 12px; }
.facts dt { color: var(--soft); font-size: 13px; }
.facts dd { margin: 0; }
.facts b { display: block; font-size: 20px; font-variant-numeric: tabular-nums; }
.facts span { font-size: 13px; color: var(--soft); }
.wide { overflow-x: auto; margin: 10px 0 14px; }
table { border-collapse: collapse; width: 100%; font-size: 13px; line-height: 1.35; }
caption { text-align: left; color: var(--soft); padding: 0 0 4px; }
th { text-align: left; vertical-align: bottom; font-weight: 600; border-bottom: 2px solid var(--blue); padding: 3px 7px;
  }
th .unit { display: block; font-weight: 400; color: var(--soft); }
td { vertical-align: top; border-bottom: 1px solid var(--line); padding: 3px 7px; overflow-wrap: break-word; }
tbody tr:nth-child(even) td { background: var(--wash); }
table.fit { width: auto; min-width: 55%; }
table.fit td, table.fit th { padding-right: 22px; }
tfoot td { font-weight: 600; border-bottom: 0; border-top: 2px solid var(--blue); }
.columns table.fit { width: 100%; }
.reasons { columns: 2; column-gap: 28px; list-style: none; padding: 0; margin: 6px 0 12px; font-size: 13px; }
.reasons li { break-inside: avoid; margin-bottom: 3px; }
.name { white-space: nowrap; }
.n { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
.place, .remedy { color: var(--soft); }
.status { display: inline-block; padding: 0 6px; border: 1px solid transparent; white-space: nowrap; }
.status.note { color: var(--soft); }
.status.note, .status.ok { padding: 0; }
.status.warning { color: var(--ochre); border-color: var(--ochre); font-weight: 600; background:
  repeating-linear-gradient(135deg, transparent 0 5px, rgba(154, 91, 18, .2) 5px 6px); }
.status.error { color: #fff; border-color: var(--ochre); font-weight: 700; background:
  repeating-linear-gradient(135deg, #9a5b12 0 5px, #7d4709 5px 7px); }
.key { font-size: 13px; color: var(--soft); max-width: none; }
.pictures { display: grid; grid-template-columns: 1fr 1fr; gap: 14px; }
.pictures figure:first-child:nth-last-child(odd) { grid-column: 1 / -1; }
figure { margin: 0; break-inside: avoid; }
img { display: block; width: 100%; height: auto; border: 1px solid var(--line); }
figcaption { font-size: 13px; color: var(--soft); padding-top: 3px; }
.bars { display: grid; grid-template-columns: max-content 1fr max-content; gap: 3px 8px; font-size: 13px;
  align-items: center; font-variant-numeric: tabular-nums; margin: 6px 0 10px; }
.bars .track { position: relative; height: 12px; background: var(--wash); }
.bars .bar { position: absolute; top: 0; bottom: 0; background: var(--blue); }
.bars .bar.over { background: repeating-linear-gradient(135deg, #9a5b12 0 5px, #7d4709 5px 7px); }
.bars .limit { position: absolute; top: -2px; bottom: -2px; width: 2px; margin-left: -1px; background: var(--ink); }
.cautions { display: grid; grid-template-columns: 1fr 1fr; gap: 0 28px; }
.drawn { border: 1px solid var(--line); padding: 2px; max-width: 100%; width: max-content; }
.drawn + .drawn { margin-top: 8px; }
.drawn svg { display: block; max-width: 100%; height: auto; }
svg text { font-family: "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif; }
.plans, .steps, .views, .labels { display: flex; flex-wrap: wrap; gap: 10px; margin: 8px 0; }
.sheet { border-top: 2px solid var(--blue); padding-top: 6px; margin: 22px 0; }
h3.piece { font-size: 24px; color: var(--blue); margin: 4px 0 8px; overflow-wrap: anywhere; }
h3.piece span { font-size: 15px; font-weight: 400; color: var(--soft); }
h3.piece .status { font-size: 13px; }
.twin { display: grid; grid-template-columns: max-content 1fr; gap: 4px 22px; }
.twin > div { min-width: 0; }
.found { margin: 6px 0; padding-left: 16px; font-size: 13px; }
.stages { list-style: none; display: flex; flex-wrap: wrap; gap: 6px 16px; padding: 0; font-size: 13px; }
.stages li::before { content: ""; display: inline-block; width: 11px; height: 11px; border: 1.5px solid var(--ink);
  margin-right: 5px; vertical-align: -1px; }
.tick { display: inline-block; width: 11px; height: 11px; border: 1.5px solid var(--ink); }
.columns { columns: 2; column-gap: 22px; }
.columns .wide { break-inside: avoid; margin-top: 0; }
.columns td, .columns th { padding-left: 3px; padding-right: 3px; }
.columns table.fit td, .columns table.fit th { padding-right: 3px; }
.columns td:not(.n):not(:first-child), .columns th:not(.n):not(:first-child) { padding-left: 12px; }
.label { display: block; }
.signs { display: flex; gap: 24px; margin-top: 46px; }
.signs .sign { flex: 1; border-top: 1px solid var(--ink); font-size: 13px; color: var(--soft); }
@page { size: A4; margin: 14mm 12mm 15mm; }
@media print {
  body { font-size: 9.5pt; padding: 0; max-width: none; }
  h1 { font-size: 18pt; }
  h2 { font-size: 13pt; margin: 7mm 0 2mm; break-after: avoid; }
  h3 { font-size: 10pt; break-after: avoid; }
  table, .bars, .key, caption, figcaption, .facts dt, .facts span { font-size: 8pt; }
  .facts b { font-size: 13pt; }
  td, th { padding: 1.2pt 4pt; }
  nav { display: none; }
  .wide { overflow: visible; break-inside: avoid; }
  tbody tr:first-child { break-before: avoid; }
  thead { display: table-header-group; }
  tfoot { display: table-row-group; }
  tr, .facts, .caution { break-inside: avoid; }
  .drawn, .label, .signs { break-inside: avoid; }
  .plans, .steps, .views, .labels { display: block; }
  .plans .drawn + .drawn, .steps .drawn + .drawn, .views .drawn + .drawn { margin-top: 0; }
  .plans > *, .steps > *, .views > *, .labels > * { display: inline-block; vertical-align: top; margin: 0 2mm 2mm 0; }
  .sheet { break-before: page; break-inside: avoid; margin: 0; border: 0; }
  h3.piece { font-size: 18pt; }
  #piece-by-piece > h2 { display: none; }
  #key-plan, #setting-out, #build-order, #loading, #packing, #labels, #sign-off, #cautions,
  #findings { break-before: page; }
  #findings .wide { break-inside: auto; }
  .stages, .found { font-size: 8pt; }
  .pictures figure { max-height: 240mm; }
  img { max-height: 225mm; object-fit: contain; object-position: left top; }
}
@media (max-width: 700px) {
  .facts, .pictures, .cautions, .twin { grid-template-columns: 1fr; }
  .columns, .reasons { columns: 1; }
  body { padding: 14px; }
  nav a { display: inline-block; padding: 5px 0; }
  td, th { padding: 4px 5px; }
  table.fit td, table.fit th { padding-right: 5px; }
  .columns td:not(.n):not(:first-child), .columns th:not(.n):not(:first-child) { padding-left: 4px; }
  .columns td, .columns th { overflow-wrap: anywhere; padding-right: 2px; }
  table.cards, .cards caption, .cards tbody, .cards tfoot { display: block; }
  .cards thead { display: none; }
  .cards tr { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); gap: 0 16px; padding: 5px 7px;
    border-bottom: 2px solid var(--line); }
  .cards tbody tr:nth-child(even), .cards tbody tr:nth-child(even) td { background: var(--wash); }
  .cards td { display: flex; justify-content: space-between; gap: 10px; padding: 2px 0; border: 0; text-align: right;
    min-width: 0; }
  .cards td.long { grid-column: 1 / -1; }
  .cards td::before { content: attr(data-head); color: var(--soft); text-align: left; font-weight: 400;
    white-space: normal; }
  .cards tr td:first-child { font-weight: 600; }
  .cards tfoot tr { border-top: 2px solid var(--blue); border-bottom: 0; }
  .cards tfoot td:empty { display: none; }
}
"""

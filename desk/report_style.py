"""How the report looks on a screen and on two printed pages."""

STYLE = """
:root { color-scheme: light dark;
  --paper: #f7f6f2; --card: #fffefb; --ink: #24272b; --soft: #666a70; --rule: #d9d6cd;
  --mark: #2f6f6a; --spike: #b1603a; --alert: #9d2f2a; }
@media (prefers-color-scheme: dark) { :root {
  --paper: #1b1d1f; --card: #232629; --ink: #e6e3dc; --soft: #a3a6a9; --rule: #3b3f43;
  --mark: #7cc0b8; --spike: #e09a72; --alert: #f0908a; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 17px/1.55 system-ui, sans-serif; }
header, main { max-width: 2300px; margin: 0 auto; padding: 0 clamp(14px, 2.5vw, 56px); }
header { padding-top: 28px; }
h1 { font-size: 1.7rem; font-weight: 600; margin: 0; text-wrap: balance; }
h2 { font-size: 1.15rem; font-weight: 600; margin: 0 0 12px; }
h3 { font-size: 1rem; font-weight: 600; margin: 20px 0 6px; overflow-wrap: anywhere; }
p { margin: 6px 0; max-width: 75ch; }
.soft { color: var(--soft); }
main { display: grid; gap: 20px; padding-top: 20px; padding-bottom: 48px;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 560px), 1fr)); align-items: start; }
section { background: var(--card); border: 1px solid var(--rule); border-radius: 6px;
  padding: 18px clamp(14px, 1.6vw, 26px) 22px; min-width: 0; }
.wide { grid-column: 1 / -1; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: left; padding: 7px 14px 7px 0; border-bottom: 1px solid var(--rule);
  vertical-align: top; }
th { font-weight: 500; color: var(--soft); }
td.number, th.number { text-align: right; white-space: nowrap; }
svg { display: block; width: 100%; height: auto; max-height: 70vh; overflow: visible; }
svg path { fill: none; stroke: currentColor; vector-effect: non-scaling-stroke; }
.line { stroke-width: 1.6px; }
.axis { stroke: var(--rule); stroke-width: 1px; stroke-dasharray: 8 4 2 4; }
.grid { stroke: var(--rule); stroke-width: 1px; }
svg .spike { stroke: var(--spike); stroke-width: 1px; }
svg .dot { stroke: var(--mark); stroke-width: 2.4px; stroke-linecap: round; }
.plot { height: 130px; }
.plotted { display: grid; grid-template-columns: auto 1fr; gap: 0 10px; }
.plotted .scale { display: flex; flex-direction: column; justify-content: space-between;
  text-align: right; color: var(--soft); white-space: nowrap; line-height: 1; }
.plotted .ends { grid-column: 2; display: flex; justify-content: space-between;
  color: var(--soft); }
.dashed { stroke-dasharray: 9 4; }
.dotted { stroke-dasharray: 2 4; }
.dash-dot { stroke-dasharray: 11 4 2 4; }
.sample { display: inline-block; width: 60px; height: 10px; vertical-align: middle; }
.bar { background: var(--mark); height: 14px; border-radius: 2px; min-width: 2px; }
td.bars { width: 45%; vertical-align: middle; }
p.state { border-left: 6px solid var(--mark); padding: 6px 0 6px 14px; font-size: 1.15rem; }
p.state.doubt { border-color: var(--spike); }
p.state.alert { border-color: var(--alert); }
p.state.alert b { color: var(--alert); }
ul.notices { list-style: none; margin: 0; padding: 0; }
ul.notices li { border-left: 4px solid var(--rule); padding: 2px 0 2px 12px; margin: 10px 0; }
ul.notices li.doubt { border-color: var(--spike); }
ul.notices li.alert { border-color: var(--alert); }
ul.notices b { font-weight: 600; }
td:has(.sample) { width: 84px; }
img { max-width: 100%; max-height: 85vh; height: auto; display: block; border-radius: 4px; }
figure { margin: 0 0 18px; }
.photos { display: grid; gap: 20px;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 460px), 1fr)); }
@page { margin: 11mm; }
@media print {
  :root { --paper: #fff; --card: #fff; --ink: #000; --soft: #444; --rule: #bbb;
    --mark: #2f6f6a; --spike: #b1603a; --alert: #9d2f2a; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
  body { font-size: 8pt; line-height: 1.2; }
  header, main { padding: 0; }
  h1 { font-size: 15pt; }
  h2 { font-size: 10.5pt; margin: 0 0 1mm; }
  h3 { font-size: 8pt; margin: 1mm 0 0; }
  p { margin: 0.7mm 0; max-width: none; }
  p.state { font-size: 10.5pt; padding: 1mm 0 1mm 3mm; }
  main { gap: 3mm; padding-top: 3mm; grid-template-columns: 1fr 1fr; }
  section { border: 0; padding: 0; break-inside: avoid; }
  th, td { padding: 0.3mm 1.5mm 0.3mm 0; }
  td:has(.sample) { width: 12mm; }
  .sample { width: 10mm; }
  svg { max-height: 44mm; }
  .photos svg { max-height: 24mm; }
  .plot { height: 9mm; }
  .bar { height: 2mm; }
  .photos { gap: 2mm 3mm; grid-template-columns: repeat(5, 1fr); }
  .photos:has(figure) { grid-template-columns: repeat(4, 1fr); }
  .photos:has(.bar) { grid-template-columns: repeat(3, 1fr); }
  td.bars { width: 25%; }
  img { max-height: 38mm; }
  figure { margin: 0; }
  ul.notices { columns: 2; column-gap: 5mm; }
  ul.notices li { margin: 0 0 1mm; break-inside: avoid; }
}
"""

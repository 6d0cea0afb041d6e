/** The page's style: system fonts, light and dark, print. Contrasts are at least 4.5 : 1 (WCAG 2.2, 1.4.3). */
export const PAGE_STYLE = `
:root { --ground: #fbfaf6; --ink: #1c2027; --muted: #555d69; --line: #d4d2c8; --raised: #f1efe6; --good: #0b5c8a; --adjust: #9a4a00; --unsure: #5a5f68; --map: #0b4f78; --star: #6b3410; --focus: #5b2a8c; --odd: #0a6bb8; }
@media (prefers-color-scheme: dark) {
  :root { --ground: #0e1219; --ink: #ece8dd; --muted: #a3acb8; --line: #2e3744; --raised: #171d27; --good: #8ed0ff; --adjust: #ff9d4d; --unsure: #b4bac4; --map: #7cc4f5; --star: #ffc98a; --focus: #d3b0ff; --odd: #59b4ff; }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--ground); color: var(--ink); font: 17px/1.5 system-ui, sans-serif; }
main { max-width: 60rem; margin: 0 auto; padding: 1rem 1.1rem 3rem; }
h1 { font-size: 1.6rem; line-height: 1.25; margin: .1rem 0 .6rem; text-wrap: balance; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 .5rem; }
h3 { font-size: 1.05rem; margin: 1.2rem 0 .2rem; }
p { margin: .4rem 0; max-width: 44rem; }
a { color: inherit; }
.verdict { display: inline-block; margin: .5rem 0 .3rem; padding: .1rem .7rem; border: 2px solid currentColor; border-radius: .3rem; font-weight: 700; }
.good .verdict { color: var(--good); } .adjust .verdict { color: var(--adjust); } .inconclusive .verdict { color: var(--unsure); }
.next { background: var(--raised); border-left: .35rem solid var(--line); padding: .3rem 1rem .7rem; }
.next h2 { margin-top: .5rem; }
.adjust + .next { border-color: var(--adjust); }
.move { font-size: 1.12rem; font-weight: 600; }
.small, .care, figcaption { color: var(--muted); font-size: .9rem; }
figure { margin: 0; }
img { display: block; width: 100%; height: auto; border-radius: .3rem; }
figcaption { margin-top: .4rem; max-width: 44rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
caption { text-align: left; color: var(--muted); font-size: .9rem; padding: .2rem 0 .4rem; }
th, td { text-align: left; vertical-align: top; padding: .4rem .7rem .4rem 0; border-top: 1px solid var(--line); }
thead th { border-top: 0; color: var(--muted); font-weight: 600; font-size: .9rem; }
tbody th { font-weight: 500; min-width: 5rem; }
.subs tbody th { min-width: 10rem; }
.status.fault { color: var(--adjust); font-weight: 700; }
.file { overflow-wrap: anywhere; }
.made .file { font-size: .9rem; }
li { margin: .25rem 0; max-width: 44rem; }
ul { padding-left: 1.2rem; }
li strong { font-weight: 600; }
svg { display: block; width: 100%; height: auto; }
svg text { fill: var(--ink); font-size: 17px; paint-order: stroke; stroke: var(--ground); stroke-width: 4px; stroke-linejoin: round; font-variant-numeric: tabular-nums; }
.frame { fill: none; stroke: var(--muted); stroke-width: 1; }
.band { fill: var(--map); fill-opacity: .1; stroke: var(--map); stroke-width: 1.2; }
.focus { fill: none; stroke: var(--focus); stroke-width: 2; stroke-dasharray: 7 5; }
.mark { fill: var(--ink); stroke: var(--ground); stroke-width: 1.5; }
.level { text-anchor: middle; font-size: 16px; }
.value { font-weight: 700; }
.maps { display: grid; grid-template-columns: repeat(auto-fit, minmax(17rem, 1fr)); gap: 1.2rem 1.6rem; }
.star { fill: var(--star); fill-opacity: .13; stroke: var(--star); stroke-width: .9; }
.star.half { stroke-width: 2.2; }
.odd { fill: var(--odd); fill-opacity: .35; stroke: none; }
.cross { fill: none; stroke: var(--ink); stroke-width: 1.2; }
.portraits text.tag { font-size: 19px; text-anchor: middle; }
.portraits .number { font-weight: 700; }
.drawn { display: grid; grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 1rem; max-width: 44rem; }
.drawn figure { display: flex; flex-direction: column; }
.drawn figcaption { flex: 1; margin: 0 0 .3rem; color: var(--ink); }
.ruler { stroke: var(--ink); stroke-width: 2; fill: none; }
.of { display: inline-block; min-width: 2.6rem; }
.share { display: inline-block; width: 126px; height: 18px; margin-left: .5rem; vertical-align: -4px; }
.room { fill: var(--map); fill-opacity: .16; }
.amount, .amount-over { fill: var(--muted); }
.interval { stroke: var(--ink); stroke-width: 1.3; fill: none; }
.limit { stroke: var(--ink); stroke-width: 2; }
summary { cursor: pointer; }
@media (max-width: 34rem) { .found table { font-size: .8rem; } .found thead th { font-size: .76rem; } .found tbody th { min-width: 0; } .found .share { display: block; width: 72px; height: 12px; margin: .15rem 0 0; } .found td, .found th { padding-right: .3rem; } body { font-size: 16px; } .portraits { min-width: 42rem; } .drawn { gap: .5rem; } th, td { padding-right: .5rem; } }
@media print {
  :root { --ground: #fff; --ink: #000; --muted: #444; --line: #bbb; --raised: #fff; --good: #0b5c8a; --adjust: #9a4a00; --unsure: #444; --map: #0b4f78; --star: #6b3410; --focus: #5b2a8c; --odd: #0a6bb8; }
  @page { margin: 14mm; }
  body { font-size: 10.5pt; }
  main { max-width: none; padding: 0; }
  figure, tr, .finding, .cautions li { break-inside: avoid; }
  h2, h3, h2 + p, summary { break-after: avoid; }
  section:has(> .maps) { break-inside: avoid; }
  img { max-height: 80mm; width: auto; max-width: 100%; }
  caption, thead { break-after: avoid; }
  h2 { margin-top: 1.2rem; }
  .wide, .maps figure, .drawn { overflow: visible; break-inside: avoid; }
  details::details-content { content-visibility: visible; block-size: auto; }
  summary { list-style: none; }
  .portraits { max-height: 150mm; }
  .maps { grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 5mm; }
  a { text-decoration: none; }
  .subs .wide, .made .wide { break-inside: auto; }
}
`;

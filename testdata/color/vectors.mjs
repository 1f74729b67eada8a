// npm install colorjs.io@0.7.1 && node vectors.mjs > colorjs-0.7.1.json
import Color from "colorjs.io";
const texts = ["#fc8","#1238","tomato","rebeccapurple","rgb(255 128 0)","rgb(10% 120% 50% / 25%)","rgba(10, 20, 30, 0.5)","hsl(210 40% 60%)","hsl(0.3turn 80% 30%)","hsl(100grad 20% 70%)","hwb(210 10% 20%)","hwb(90 60% 70%)","lab(52.2345% 40.1645 59.9971)","lab(90 -120 30)","lch(52.2345% 72.2 56.2)","lch(29.2345% 44.2 27rad)","oklab(72.322% -0.0465 -0.1150)","oklab(40% 50% -20%)","oklch(0.72 0.15 145)","oklch(85% 0.06 230)","oklch(60% 0.3 30)","color(srgb 0.2 0.4 1.2)","color(srgb-linear 0.2 0.4 0.8)","color(display-p3 1 0.6 0.2)","color(display-p3 0 1 0)","color(a98-rgb 0.3 0.7 0.1)","color(prophoto-rgb 0.3 0.7 0.1)","color(xyz 0.3 0.4 0.5)","color(xyz-d50 0.3 0.4 0.5)","color(xyz-d65 0.1 0.05 0.4)"];
const out = {parse: [], mix: []};
for (const t of texts) { const c = new Color(t); const l = c.to("srgb-linear"); out.parse.push({text: t, linear: l.coords.map(Number), alpha: Number(c.alpha)}); }
const spaces = ["srgb","srgb-linear","hsl","hwb","lab","lch","oklab","oklch","xyz"];
const pairs = [["red","blue"],["tomato","skyblue"],["white","navy"],["hsl(40 50% 50%)","hsl(330 50% 50%)"]];
for (const [a,b] of pairs) for (const s of spaces) for (const h of (["hsl","hwb","lch","oklch"].includes(s)?["shorter","longer","increasing","decreasing"]:["shorter"])) for (const t of [0.25,0.5,0.8]) {
  const m = Color.mix(a,b,t,{space:s,hue:h,outputSpace:s}); out.mix.push({a,b,space:s,hue:h,t,linear:m.to("srgb-linear").coords.map(Number)});
}
console.log(JSON.stringify(out).replaceAll("},{","},\n{"));

// Puts the built script and style into one file, dist/template.html, which the tool fills when it publishes or serves.
// The marks it leaves for the tool: <!--policy-->, <!--title-->, <!--summary-->, /*facts*/, /*bench*/, /*engine*/.
import { readFileSync, readdirSync, writeFileSync } from "node:fs";

const parts = "dist/parts";
const assets = readdirSync(`${parts}/assets`);
const one = (ending) => {
  const found = assets.filter((name) => name.endsWith(ending));
  if (found.length !== 1) throw new Error(`expected one ${ending}, found ${found.join(", ")}`);
  return readFileSync(`${parts}/assets/${found[0]}`, "utf8");
};
const script = one(".js").replace(/<\/script/gi, "<\\/script").replace(/<!--/g, "<\\!--");
const style = one(".css").replace(/<\/style/gi, "<\\/style");
let html = readFileSync(`${parts}/index.html`, "utf8");
html = html.replace(/\s*<script type="module"[^>]*><\/script>/, "").replace(/\s*<link rel="stylesheet"[^>]*>/, "");
// Replacements by function: a "$&" in the script must stay what it is.
html = html.replace("</head>", () => `<style>${style}</style>\n</head>`);
html = html.replace("</body>", () => `<script type="module">${script}</script>\n</body>`);
for (const mark of ["<!--policy-->", "<!--title-->", "<!--summary-->", "/*facts*/", "/*bench*/", "/*engine*/"]) {
  if (html.split(mark).length !== 2) throw new Error(`the mark ${mark} must stand exactly once in the template`);
}
writeFileSync("dist/template.html", html);
console.log(`dist/template.html: ${html.length} characters`);

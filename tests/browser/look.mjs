// Opens pages in a browser and looks at them as readers do: at the desk, on a phone, by day and by night, with the
// keyboard alone, and without scripts.
//
//   node look.mjs DIR [PICTURES]
//
// DIR holds pages and, beside each `NAME.html`, its report as `NAME.json`. LEADSMAN_BROWSER is the browser's path. With
// PICTURES, screenshots and prints go there. Exit status 1 when something is wrong with a page, each told in a line.

import { mkdirSync, readFileSync, readdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import axe from "axe-core";
import puppeteer from "puppeteer-core";

const [dir, pictures] = process.argv.slice(2);
const names = readdirSync(dir).filter((name) => name.endsWith(".html")).sort();
if (pictures) mkdirSync(pictures, { recursive: true });

const VIEWS = [
  { name: "desk", width: 1280, height: 900, scheme: "light" },
  { name: "desk-dark", width: 1280, height: 900, scheme: "dark" },
  { name: "phone", width: 390, height: 844, scheme: "light" },
  { name: "phone-dark", width: 390, height: 844, scheme: "dark" },
];

const RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

let wrong = 0;
function check(sound, page, what) {
  if (sound) return;
  wrong += 1;
  console.error(`${page}: ${what}`);
}

// Everything that a keyboard must reach, told by a mark that is set on it.
function markReachable() {
  const all = [...document.querySelectorAll("a[href], button, summary, [tabindex='0']")];
  const shown = all.filter((element) => element.checkVisibility({ contentVisibilityAuto: true }));
  shown.forEach((element, at) => (element.dataset.mark = String(at)));
  return shown.map((element) => element.textContent.trim().slice(0, 40));
}

// From now on notes what receives focus, and whether one sees it there.
function noteFocus() {
  window.focused = [];
  document.addEventListener("focusin", ({ target }) => {
    const box = target.getBoundingClientRect();
    const seen = getComputedStyle(target).outlineStyle !== "none" && box.right > 0 && box.width > 0;
    window.focused.push({ mark: target.dataset.mark, seen });
  });
}

// Whatever is wider than the page, innermost first.
function tooWide() {
  const room = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= room) return [];
  const wide = [...document.querySelectorAll("body *")].filter(
    (element) => !element.closest(".wide") && element.getBoundingClientRect().right > room + 1,
  );
  return wide.reverse().slice(0, 3).map((element) => `${element.tagName} ${element.textContent.slice(0, 40)}`);
}

function content() {
  const text = (element) => element.textContent.replace(/\s+/g, " ").trim();
  return {
    title: document.title,
    findings: [...document.querySelectorAll("article.card h3")].map(text),
    figures: [...document.querySelectorAll("figure")].map((figure) => {
      const box = figure.querySelector("svg")?.getBoundingClientRect();
      return { drawn: !!box && box.width > 40 && box.height > 20, about: text(figure.querySelector("figcaption")) };
    }),
    rows: document.querySelectorAll("tbody tr").length,
    scripts: document.querySelectorAll("script").length,
    images: document.querySelectorAll("img, iframe, object, embed, link").length,
  };
}

async function tabThrough(page, label) {
  const reachable = await page.evaluate(markReachable);
  await page.evaluate(noteFocus);
  for (let presses = 0; presses < reachable.length + 2; presses += 1) await page.keyboard.press("Tab");
  const reached = new Set();
  for (const { mark, seen } of await page.evaluate(() => window.focused)) {
    check(seen, label, `focus cannot be seen on ${reachable[mark] ?? "something"}`);
    if (mark !== undefined) reached.add(Number(mark));
  }
  const missed = reachable.filter((_, at) => !reached.has(at));
  check(missed.length === 0, label, `the keyboard does not reach: ${missed.join("; ")}`);
}

// Sorts the timing by count, twice.
async function sorts(page, label) {
  const button = await page.$("#timing thead th:nth-child(3) button");
  if (!button) return check(!(await page.$("#timing")), label, "the timing has no buttons to sort by");
  const counts = () =>
    page.$$eval("#timing tbody tr", (rows) => rows.map((row) => Number(row.cells[2].dataset.sort)));
  const before = await counts();
  await button.click();
  const up = [...before].sort((a, b) => a - b);
  check(String(await counts()) === String(up), label, "sorting by count does not put the least first");
  await button.click();
  check(String(await counts()) === String(up.reverse()), label, "sorting again does not put the most first");
  const state = await page.$eval("#timing thead th:nth-child(3)", (head) => head.getAttribute("aria-sort"));
  check(state === "descending", label, `the head says ${state} of its order`);
}

async function violations(page, label) {
  await page.$$eval("details", (all) => all.forEach((details) => (details.open = true)));
  await page.evaluate(axe.source);
  const { violations } = await page.evaluate((rules) => window.axe.run({ runOnly: rules }), RULES);
  for (const { id, help, nodes } of violations) {
    check(false, label, `${id}: ${help}: ${nodes.map((node) => node.html.slice(0, 160)).slice(0, 3).join(" | ")}`);
  }
}

async function look(browser, name) {
  const file = resolve(dir, name);
  const url = pathToFileURL(file).href;
  const report = JSON.parse(readFileSync(file.replace(/html$/, "json"), "utf8"));
  let scripted;
  for (const view of VIEWS) {
    const label = `${name} (${view.name})`;
    const page = await browser.newPage();
    // Pages are looked at side by side, and only one of them can have the window's focus.
    await (await page.createCDPSession()).send("Emulation.setFocusEmulationEnabled", { enabled: true });
    page.on("console", (message) => check(false, label, `console: ${message.text()}`));
    page.on("pageerror", (error) => check(false, label, `error: ${error.message}`));
    page.on("dialog", (dialog) => {
      check(false, label, `dialog: ${dialog.message()}`);
      dialog.dismiss();
    });
    page.on("request", (request) => check(request.url() === url, label, `request: ${request.url()}`));
    await page.setViewport({ width: view.width, height: view.height, isMobile: view.width < 600 });
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: view.scheme }]);
    await page.goto(url, { waitUntil: "load" });

    const shown = await page.evaluate(content);
    scripted ??= shown;
    check(shown.title.length > 3, label, "no title");
    check(shown.scripts === 1 && shown.images === 0, label, "an element that the program did not make");
    check(shown.findings.length === report.findings.length, label, `${shown.findings.length} findings are shown`);
    for (const { summary } of report.findings) {
      // What a page must write otherwise is another test's.
      const plain = /^[\x21-\x7e]+( [\x21-\x7e]+)*$/.test(summary);
      check(!plain || shown.findings.some((head) => head.includes(summary)), label, `not shown: ${summary}`);
    }
    for (const figure of shown.figures) check(figure.drawn && figure.about, label, `not drawn: ${figure.about}`);
    const wide = await page.evaluate(tooWide);
    check(wide.length === 0, label, `wider than the page: ${wide.join("; ")}`);
    if (pictures) await page.screenshot({ path: join(pictures, `${name}-${view.name}.png`), fullPage: true });
    if (view.scheme === "light") await tabThrough(page, label);
    if (view.name === "desk") await sorts(page, label);
    // A phone's night has the colours of the desk's.
    if (view.name !== "phone-dark") await violations(page, label);
    const open = await page.evaluate(tooWide);
    check(open.length === 0, label, `wider than the page once all is open: ${open.join("; ")}`);
    if (pictures && view.name === "desk") await page.pdf({ path: join(pictures, `${name}.pdf`), format: "A4" });
    await page.close();
  }
  const page = await browser.newPage();
  await page.setJavaScriptEnabled(false);
  await page.goto(url, { waitUntil: "load" });
  const bare = await page.evaluate(content);
  check(JSON.stringify(bare) === JSON.stringify(scripted), `${name} (no scripts)`, "not the same without scripts");
  await page.close();
}

const browser = await puppeteer.launch({
  executablePath: process.env.LEADSMAN_BROWSER ?? "chromium",
  // The sandbox cannot start for root, which containers often run as.
  args: process.getuid?.() === 0 ? ["--no-sandbox"] : [],
});
try {
  for (const name of names) await look(browser, name);
} finally {
  await browser.close();
}
check(names.length > 0, dir, "no pages");
console.log(`${names.length} pages looked at, ${wrong} things wrong`);
process.exitCode = wrong > 0 ? 1 : 0;

// Keeps the sheet as the record stands, without a reload. It listens to the live stream; at an event it fetches this same page anew,
// marked as a refresh (which is no look of its own), and puts its sheet in place of the old one. It draws nothing itself.

const MINUTE_MS = 60_000;
const PAUSE_MS = 250; // between two refreshes in a run of events; the first is never kept waiting

let fetching = false;
let wanted = false;
let lastRefresh = performance.now();
let pause = 0;
let again = 0;
let shown = "";

const heard = () => document.getElementById("heard");

function refresh() {
  if (fetching || pause) {
    wanted = true;
    return;
  }
  wanted = false;
  fetching = true;
  renew()
    .catch(lost)
    .finally(() => {
      fetching = false;
      lastRefresh = performance.now();
      lookAgain();
      pause = setTimeout(() => {
        pause = 0;
        if (wanted) refresh();
      }, PAUSE_MS);
    });
}

async function renew() {
  const address = new URL(location.href);
  address.searchParams.set("refresh", "1");
  const answer = await fetch(address, { credentials: "same-origin", cache: "no-store" });
  if (answer.status === 405) return; // this page answers a form: it stands until another is opened
  if (!answer.ok) throw new Error(String(answer.status));
  const text = await answer.text();
  if (writing()) return; // somebody fills in a form: leave it alone
  document.documentElement.classList.remove("waiting");
  if (text === shown) return; // nothing to be told anew to those who listen to the page
  shown = text;
  const page = new DOMParser().parseFromString(text, "text/html");
  const sheet = document.getElementById("sheet");
  const opened = [...sheet.querySelectorAll("details[open][id]")].map((one) => one.id);
  const focus = place(document.activeElement, sheet);
  const [x, y] = [scrollX, scrollY];
  sheet.replaceChildren(...document.adoptNode(page.getElementById("sheet")).childNodes);
  heard().replaceWith(document.adoptNode(page.getElementById("heard")));
  document.title = page.title;
  for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
  if (focus) sheet.querySelectorAll(FOCUSABLE)[focus - 1]?.focus({ preventScroll: true });
  scrollTo(x, y);
  document.dispatchEvent(new Event("renewed"));
  if (stream && stream.readyState !== EventSource.OPEN) lost();
}

// While a lesson is open the sheet is looked at again every few seconds: an example is over only once a pause has followed it.
function lookAgain() {
  clearTimeout(again);
  const after = document.querySelector("[data-again]")?.dataset.again;
  if (after) again = setTimeout(() => document.visibilityState === "visible" && refresh(), after * 1_000);
}

const FOCUSABLE = "a[href],button,input,select,textarea,summary,[tabindex='0']";

function place(element, sheet) {
  return element && sheet.contains(element) ? [...sheet.querySelectorAll(FOCUSABLE)].indexOf(element) + 1 : 0;
}

function writing() {
  const element = document.activeElement;
  const fields = [...document.querySelectorAll("main input:not([type=hidden]),main textarea,main select")];
  const filled = fields.some(changed);
  return filled || fields.includes(element);
}

function changed(field) {
  if (!field.options) return field.value !== field.defaultValue || field.checked !== field.defaultChecked;
  const first = Math.max([...field.options].findIndex((one) => one.defaultSelected), 0);
  return field.selectedIndex !== first;
}

function lost() {
  shown = "";
  document.documentElement.classList.add("waiting");
  const line = heard();
  if (line?.dataset.lost) line.textContent = line.dataset.lost;
}

function listen() {
  const site = heard()?.dataset.site;
  const opened = new EventSource(`/api/v1/stream${site ? `?site=${encodeURIComponent(site)}` : ""}`);
  let before = false;
  opened.addEventListener("open", () => {
    if (before) refresh();
    before = true;
  });
  opened.addEventListener("error", () => {
    lost();
    if (opened.readyState === EventSource.CLOSED) setTimeout(() => (stream = listen()), 5_000);
  });
  for (const kind of ["press", "presence", "supply", "finding", "blind", "unseen"]) opened.addEventListener(kind, refresh);
  return opened;
}

let stream = heard() ? listen() : null;
lookAgain();

// A silent chime sends no event: once a minute the sheet is drawn anew, so that its *now* stays now.
setInterval(() => {
  if (document.visibilityState === "visible" && performance.now() - lastRefresh >= MINUTE_MS) refresh();
}, 5_000);
document.addEventListener("outdated", refresh); // another stretch of a chart is asked for
addEventListener("popstate", refresh);
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") refresh();
});
addEventListener("pagehide", () => stream?.close());
addEventListener("pageshow", (event) => {
  if (event.persisted) {
    stream = listen();
    refresh();
  }
});

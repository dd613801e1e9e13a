// Predicts while somebody fills in the fit-out sheet: it fetches this same page for what stands in the blanks, and puts the parts that are
// marked for it in place of the old ones. It computes nothing itself; without it the button does the same.

const PAUSE_MS = 350; // after the last key; the slider is answered as it comes to rest

const form = document.getElementById("sheet-form");
let pause = 0;
let asked = 0;

form?.addEventListener("input", () => {
  clearTimeout(pause);
  pause = setTimeout(predict, PAUSE_MS);
});

async function predict() {
  const number = ++asked;
  const address = new URL(form.action);
  address.search = new URLSearchParams(new FormData(form));
  const answer = await fetch(address, { credentials: "same-origin", cache: "no-store" }).catch(() => null);
  if (!answer || number !== asked) return; // somebody has written on
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const old of document.querySelectorAll("[data-renew]")) {
    const fresh = page.querySelector(`[data-renew="${CSS.escape(old.dataset.renew)}"]`);
    if (fresh && fresh.innerHTML !== old.innerHTML) renew(old, fresh);
  }
}

function renew(old, fresh) {
  const held = old.contains(document.activeElement) ? document.activeElement : null;
  if (!held) {
    old.replaceChildren(...document.adoptNode(fresh).childNodes);
    return;
  }
  // the blank that somebody holds stays what it is; all about it is renewed
  const name = held.name;
  const field = held.closest("fieldset");
  const part = fresh.querySelector(`[name="${CSS.escape(name)}"]`)?.closest("fieldset");
  if (!field || !part) return;
  const aside = part.querySelector(".aside");
  field.querySelector(".aside")?.remove();
  if (aside) field.append(document.adoptNode(aside));
  part.replaceWith(document.createComment("held"));
  const children = [...document.adoptNode(fresh).childNodes];
  for (const child of [...old.childNodes]) if (child !== field) child.remove();
  let before = true;
  for (const child of children) {
    if (child.nodeType === Node.COMMENT_NODE && child.data === "held") before = false;
    else if (before) field.before(child);
    else old.append(child);
  }
}

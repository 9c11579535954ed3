// Pages work without this: it looks again by itself, swaps what a link or a form changes in place,
// takes files that are dropped, and says that a form is being worked at.
"use strict";

const live = () => document.getElementById("live");
let asked = 0; // the latest question: what comes late of an earlier one is dropped
let focus = ""; // what had it last, which may be back after a page that waits

async function swap(address, { keep = false, body } = {}) {
  const mine = ++asked;
  const method = body ? "POST" : "GET";
  const answer = await fetch(address, { method, body, headers: { Accept: "text/html" }, credentials: "same-origin" });
  const text = await answer.text();
  if (mine !== asked) return;
  const page = new DOMParser().parseFromString(text, "text/html");
  const main = page.getElementById("live");
  if (!main) return;
  focus = (document.activeElement && document.activeElement.id) || focus;
  live().replaceWith(document.importNode(main, true));
  document.title = page.title;
  if (keep) history.replaceState(null, "", answer.url);
  if (focus && document.getElementById(focus)) document.getElementById(focus).focus();
  begin();
}

function lookAgain() {
  const after = Number(live().dataset.again);
  if (!after) return;
  setTimeout(() => {
    if (document.hidden) document.addEventListener("visibilitychange", lookAgain, { once: true });
    else swap(location.href).catch(lookAgain);
  }, after);
}

function takeDrops(form) {
  const input = form.querySelector("input[type=file]");
  const says = form.querySelector("[data-drop-says]");
  const over = (on) => (event) => {
    event.preventDefault();
    form.classList.toggle("over", on);
  };
  form.addEventListener("dragover", over(true));
  form.addEventListener("dragleave", over(false));
  form.addEventListener("drop", (event) => {
    over(false)(event);
    if (event.dataTransfer.files.length) input.files = event.dataTransfer.files;
    input.dispatchEvent(new Event("change"));
  });
  says.textContent = "or drop them here";
  input.addEventListener("change", () => {
    says.textContent = Array.from(input.files, (file) => file.name).join(", ");
  });
}

function begin() {
  lookAgain();
  for (const form of live().querySelectorAll("[data-drop]")) takeDrops(form);
  for (const button of live().querySelectorAll("button[data-copy]")) button.hidden = !navigator.clipboard;
}

document.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (!button || !button.dataset.busy) return;
  const said = button.textContent;
  setTimeout(() => {
    button.textContent = button.dataset.busy;
    button.disabled = true;
  });
  addEventListener("pageshow", () => {
    button.textContent = said;
    button.disabled = false;
  }, { once: true });
});

document.addEventListener("click", (event) => {
  const copy = event.target.closest("button[data-copy]");
  if (copy) {
    const said = document.getElementById(copy.dataset.copy).textContent;
    navigator.clipboard.writeText(said).then(() => { copy.textContent = "Copied"; });
    return;
  }
  const link = event.target.closest("a[data-swap]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
  event.preventDefault();
  const address = new URL(link.getAttribute("href"), location.href).href; // links of SVG have another href
  swap(address, { keep: true }).catch(() => location.assign(address));
});

document.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-change]");
  if (!form) return;
  live().setAttribute("aria-busy", "true");
  swap(form.action, { keep: true, body: new FormData(form) }).catch(() => form.submit());
});

let pause = 0;
document.addEventListener("input", (event) => {
  const form = event.target.closest("form[data-swap]");
  if (!form) return;
  clearTimeout(pause);
  pause = setTimeout(() => {
    const query = new URLSearchParams(new FormData(form));
    swap(`${form.action.split("?")[0]}?${query}`, { keep: true }).catch(() => form.submit());
  }, 120);
});

begin();

/**
 * The worker that serves the page without signal, and how a newer page takes over: it is fetched whole beside the old one, waits
 * while somebody types, and steps in on the first screen. What was typed lies on the disk either way.
 */
import { effect, signal } from "@preact/signals";
import { place } from "./route.js";

export const PAGE = document.querySelector("meta[name=version]").content;
/** The worker: its version, whether it serves this page, whether a newer one waits. */
export const worker = signal({ version: null, ready: Boolean(navigator.serviceWorker?.controller), waiting: false });

// Screens on which nothing is half typed.
const RESTING = ["home", "hand_in", "finish"];
const isResting = () => RESTING.includes(place.value.screen);

export async function keepUp() {
  if (!navigator.serviceWorker) return;
  const policy = self.trustedTypes?.createPolicy("fieldkit-worker", { createScriptURL: (address) => address });
  let registration;
  try {
    registration = await navigator.serviceWorker.register(policy?.createScriptURL("worker.js") ?? "worker.js");
  } catch {
    return; // behind a certificate that is not trusted there is none; the first screen says so
  }
  navigator.serviceWorker.addEventListener("message", ({ data }) => (worker.value = { ...worker.value, version: data.version }));
  let had = navigator.serviceWorker.controller;
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (had) whenResting(() => location.reload());
    had = navigator.serviceWorker.controller;
    ask();
  });
  await navigator.serviceWorker.ready;
  ask();
  watch(registration);
  registration.addEventListener("updatefound", () => registration.installing.addEventListener("statechange", () => watch(registration)));
}

function ask() {
  const serving = navigator.serviceWorker.controller;
  worker.value = { ...worker.value, ready: Boolean(serving) };
  serving?.postMessage("version");
}

function watch({ waiting }) {
  worker.value = { ...worker.value, waiting: Boolean(waiting && navigator.serviceWorker.controller) };
  if (worker.value.waiting) whenResting(() => waiting.postMessage("take over"));
}

function whenResting(act) {
  let done = false;
  const stop = effect(() => {
    if (done || !isResting()) return;
    done = true;
    act();
    queueMicrotask(() => stop());
  });
}

// While somebody writes, the phones beside the form show it as a patient will see it, and below it
// stands how it reads. Without this script the buttons of the form do the same, when pressed.
(() => {
  const form = document.querySelector("form[data-look]");
  const beside = document.querySelector("[data-beside]");
  if (!form || !beside) return;
  const phones = [...beside.querySelectorAll("iframe[data-language]")];
  const reads = document.querySelector("[data-reads]");
  const told = beside.querySelector("[data-told]");
  const PAUSE = 700; // milliseconds without a key
  let waiting = 0;
  let shown = "";

  const typed = (also) => {
    const fields = [...new FormData(form)].filter(
      ([name, value]) => typeof value === "string" && name !== "act_key",
    );
    return new URLSearchParams([...fields, ...Object.entries(also)]);
  };

  const ask = async (also) => {
    const answer = await fetch(form.dataset.look, { method: "POST", body: typed(also) });
    if (answer.redirected || !(answer.ok || answer.status === 422)) throw new Error("no look");
    return answer.text();
  };

  const show = (phone, page) => {
    const at = phone.contentWindow ? phone.contentWindow.scrollY : 0;
    phone.addEventListener("load", () => phone.contentWindow.scrollTo(0, at), { once: true });
    phone.srcdoc = page;
  };

  const refresh = async () => {
    const now = typed({}).toString();
    if (now === shown) return;
    shown = now;
    try {
      for (const phone of phones) show(phone, await ask({ language: phone.dataset.language, framed: "yes" }));
      if (reads) reads.innerHTML = await ask({ show: "reads" });
      told.textContent = "";
    } catch {
      shown = "";
      told.textContent = "This stands still just now. What you type is in the form; save it.";
    }
  };

  beside.hidden = false;
  form.closest(".writing").classList.add("with-phones");
  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(refresh, PAUSE);
  });
  refresh();
})();

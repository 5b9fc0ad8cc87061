"use strict";
// Exchanges the token for a pass that the browser keeps, then opens the page.
document.getElementById("open").addEventListener("submit", async (event) => {
  event.preventDefault();
  const told = document.getElementById("told");
  try {
    const answer = await fetch("token", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Pipeledger": "page" },
      body: JSON.stringify({ token: document.getElementById("token").value }),
    });
    if (answer.ok) {
      location.assign("/");
    } else {
      told.textContent = answer.status === 403 ? "That is not the token." : `Refused (${answer.status}).`;
    }
  } catch {
    told.textContent = "The recorder does not answer.";
  }
});

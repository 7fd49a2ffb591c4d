// Who signs on this computer: the name and role are kept here, nothing else.

const FIELDS = ["name", "role", "initials"];

export function recall(form) {
  for (const field of FIELDS) {
    const input = form.elements[field];
    if (input && !input.value) input.value = localStorage.getItem(`signer-${field}`) || "";
  }
}
export function remember(form) {
  for (const field of FIELDS) if (form.elements[field]) localStorage.setItem(`signer-${field}`, form.elements[field].value.trim());
}

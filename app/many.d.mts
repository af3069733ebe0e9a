export function many(file: string, out: string): void;

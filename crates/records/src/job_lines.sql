SELECT
  j.id,
  j.opened,
  coalesce(trim(c.name || ', ' || c.address, ', '), ''),
  coalesce(trim(m.maker || ' ' || m.model), ''),
  coalesce(m.file_text <> '', 0),
  coalesce((
    SELECT coalesce(p.says ->> 'words', e.says ->> 'complaint')
    FROM evidence e LEFT JOIN personal p ON p.job = e.job AND p.number = e.number
    WHERE e.job = j.id AND (p.says ->> 'words' IS NOT NULL OR e.says ->> 'complaint' IS NOT NULL)
      AND NOT EXISTS (SELECT 1 FROM evidence s WHERE s.job = j.id AND s.supersedes = e.number)
    ORDER BY p.says ->> 'words' IS NULL, e.number LIMIT 1), ''),
  (SELECT count(*) FROM evidence e
    WHERE e.job = j.id
      AND coalesce(e.says ->> 'reading', e.says ->> 'check', e.says ->> 'saw', e.says ->> 'code') IS NOT NULL
      AND NOT EXISTS (SELECT 1 FROM evidence s WHERE s.job = j.id AND s.supersedes = e.number)),
  (SELECT d.says FROM derived d
    WHERE d.job = j.id AND d.number = (SELECT max(number) FROM evidence e WHERE e.job = j.id)),
  j.closed
FROM job j LEFT JOIN customer c ON c.id = j.customer LEFT JOIN machine m ON m.id = j.machine
WHERE (j.closed IS NOT NULL) = ?1
ORDER BY coalesce(j.closed, '') DESC, j.id DESC

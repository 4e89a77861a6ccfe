# Run by CPack between installing into its own folder and packing that: what Debian wants otherwise
# than `cmake --install` puts it. File times are those of the changelog, so that the package is the
# same bytes whenever it is made; scripts/package sets SOURCE_DATE_EPOCH.
set(top "${CPACK_TEMPORARY_INSTALL_DIRECTORY}/usr/share")
set(doc "${top}/doc/${CPACK_PACKAGE_NAME}")

file(RENAME "${doc}/LICENSE" "${doc}/copyright")
# Debian's zsh looks here for what packages bring.
if(EXISTS "${top}/zsh/site-functions")
  file(RENAME "${top}/zsh/site-functions" "${top}/zsh/vendor-completions")
endif()

# What only says which compiler it was.
execute_process(COMMAND strip --remove-section=.comment --remove-section=.note
                        "${CPACK_TEMPORARY_INSTALL_DIRECTORY}/usr/bin/forewarm" COMMAND_ERROR_IS_FATAL ANY)

# -n: neither a name nor a time in the file.
file(GLOB pages "${top}/man/man*/*")
foreach(path IN LISTS pages ITEMS "${doc}/changelog")
  execute_process(COMMAND gzip -9n "${path}" COMMAND_ERROR_IS_FATAL ANY)
endforeach()

file(GLOB_RECURSE all LIST_DIRECTORIES true "${CPACK_TEMPORARY_INSTALL_DIRECTORY}/*")
foreach(path IN LISTS all)
  if(DEFINED ENV{SOURCE_DATE_EPOCH})
    execute_process(COMMAND touch --no-dereference --date=@$ENV{SOURCE_DATE_EPOCH} "${path}"
                    COMMAND_ERROR_IS_FATAL ANY)
  endif()
endforeach()
